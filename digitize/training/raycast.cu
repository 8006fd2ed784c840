// Casts the rays of one random scene: colour in linear light and what each pixel shows. Compiles as CUDA (through CuPy)
// and as C++, for a look at scenes without a GPU. Where a number sits in a scene's block is said once, in scene_arrays.py,
// which defines the names in capitals (CAMERA, LIGHTS, ...) when it compiles this file.
//
// World: the rocket is one unit long; the ground is z = 0; rocket's own frame: x from the nose tip aft, y and z across.
// Planes of a picture: red, green, blue, and the labels ROCKET, BODY, FINS, HIDDEN, NOSE, OTHER, SHADE, 0 to 1.

#ifdef __CUDACC__
#define FAST __device__ __forceinline__
#define CALL __device__ __noinline__
#else
#include <math.h>
#define FAST static inline
#define CALL static
#endif

#define FAR 1e9f
#define NEAR 1e-4f
#define TURN 6.2831853f

struct Vec { float x, y, z; };
struct Ray { Vec o, d; };
struct Hit { float t; Vec n; int part; };

FAST Vec vec(float x, float y, float z) { Vec r; r.x = x; r.y = y; r.z = z; return r; }
FAST Vec at(const float *p) { return vec(p[0], p[1], p[2]); }
FAST Vec operator+(Vec a, Vec b) { return vec(a.x + b.x, a.y + b.y, a.z + b.z); }
FAST Vec operator-(Vec a, Vec b) { return vec(a.x - b.x, a.y - b.y, a.z - b.z); }
FAST Vec operator*(Vec a, float s) { return vec(a.x * s, a.y * s, a.z * s); }
FAST Vec operator*(Vec a, Vec b) { return vec(a.x * b.x, a.y * b.y, a.z * b.z); }
FAST float dot(Vec a, Vec b) { return a.x * b.x + a.y * b.y + a.z * b.z; }
FAST Vec cross(Vec a, Vec b) { return vec(a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x); }
FAST Vec unit(Vec a) { return a * (1.f / sqrtf(dot(a, a) + 1e-20f)); }
FAST Vec mix(Vec a, Vec b, float t) { return a * (1 - t) + b * t; }
FAST float clip(float x, float a, float b) { return x < a ? a : (x > b ? b : x); }
FAST float smooth(float a, float b, float x) { float t = clip((x - a) / (b - a + 1e-12f), 0, 1); return t * t * (3 - 2 * t); }
FAST float part_of(float x) { return x - floorf(x); }

// --- noise -------------------------------------------------------------------------------------------------------

FAST float hash(int x, int y, int seed) {
  unsigned h = (unsigned)x * 374761393u + (unsigned)y * 668265263u + (unsigned)seed * 2246822519u;
  h = (h ^ (h >> 13)) * 1274126177u; h ^= h >> 16; h *= 2654435761u; h ^= h >> 15;
  return (h & 0xffffff) / 16777216.f;
}
CALL float value_noise(float x, float y, int seed) {
  float fx = floorf(x), fy = floorf(y); int i = (int)fx, j = (int)fy;
  float u = x - fx, v = y - fy; u = u * u * (3 - 2 * u); v = v * v * (3 - 2 * v);
  float a = hash(i, j, seed), b = hash(i + 1, j, seed), c = hash(i, j + 1, seed), d = hash(i + 1, j + 1, seed);
  return (a * (1 - u) + b * u) * (1 - v) + (c * (1 - u) + d * u) * v;
}
CALL float fractal(float x, float y, int seed, int octaves) {
  float a = .5f, sum = 0, norm = 0;
  for (int k = 0; k < octaves; k++) {
    sum += a * value_noise(x, y, seed + k * 17); norm += a; a *= .5f;
    float t = x * 1.6f + y * 1.2f; y = -x * 1.2f + y * 1.6f; x = t;
  }
  return sum / norm;
}
CALL float cells(float x, float y, int seed, float *id) {
  int i = (int)floorf(x), j = (int)floorf(y); float b1 = 9, b2 = 9;
  for (int a = -1; a < 2; a++) for (int b = -1; b < 2; b++) {
    float px = i + a + hash(i + a, j + b, seed), py = j + b + hash(i + a, j + b, seed + 5);
    float d = (px - x) * (px - x) + (py - y) * (py - y);
    if (d < b1) { b2 = b1; b1 = d; *id = hash(i + a, j + b, seed + 9); } else if (d < b2) b2 = d;
  }
  return sqrtf(b2) - sqrtf(b1);
}
// One of the collages, repeated by mirroring; bytes are gamma coded.
FAST Vec collage(const unsigned char *all, int k, float u, float v) {
  u = part_of(u * .5f) * 2; v = part_of(v * .5f) * 2; if (u > 1) u = 2 - u; if (v > 1) v = 2 - v;
  const int n = COLLAGE_PX; float x = u * (n - 2), y = v * (n - 2); int i = (int)x, j = (int)y; float a = x - i, b = y - j;
  const unsigned char *q = all + ((long)k * n * n + j * n + i) * 3; float r[3];
  for (int c = 0; c < 3; c++) {
    float t = (q[c] * (1 - a) + q[c + 3] * a) * (1 - b) + (q[c + 3 * n] * (1 - a) + q[c + 3 * n + 3] * a) * b;
    t /= 255.f; r[c] = t * t * (.3f + .7f * t);
  }
  return vec(r[0], r[1], r[2]);
}

// --- materials -----------------------------------------------------------------------------------------------------
// m: kind, colour a, b, c, scale, angle, p1, p2, p3, seed, gloss, shine, bump, bump scale, collage, blotch, mottle,
// mottle scale, bump kind, mirror, half width, half height. See grounds.py for what p1 to p3 mean to each kind.

CALL Vec colour_of(const float *m, float u, float v, float w, const unsigned char *all) {
  int kind = (int)m[0]; Vec A = at(m + 1), B = at(m + 4), C = at(m + 7);
  float scale = m[10], ca = cosf(m[11]), sa = sinf(m[11]), p1 = m[12], p2 = m[13], p3 = m[14]; int seed = (int)m[15];
  float x = (u * ca + v * sa) * scale, y = (-u * sa + v * ca) * scale, half_u = m[26], half_v = m[27];
  Vec c = A; float id = 0;
  switch (kind) {
  case SPECKLED: {
    float n = clip((fractal(x, y, seed, 6) - .5f) * p1 + .5f, 0, 1); c = mix(A, B, n);
    if (p2 > 0) c = mix(c, C, smooth(1 - p2, 1 - p2 * .5f, value_noise(x * 9, y * 9, seed + 40)));
    break; }
  case WOOD: case PLANKS: {
    float along = x, across = y, row = 0;
    if (kind == PLANKS) {
      row = floorf(y / p3); float f = y / p3 - row;
      along = x + hash((int)row, 1, seed) * 50; across = y + hash((int)row, 3, seed) * 40;
      if (f < .02f || f > .985f || part_of(along * .07f) < .0015f) return C * .4f;
    }
    float n = fractal(along * .25f, across * 3, seed, 4), g = fractal(along * .4f, across * 14, seed + 3, 3);
    float ring = .5f + .5f * sinf((across + n * p1) * 6.f * p2);
    c = mix(A, B, clip(.45f * ring + .4f * n + .5f * (g - .3f), 0, 1));
    c = c * (1 + .25f * (hash((int)row, 7, seed) - .5f)) * (.93f + .14f * value_noise(along * 2.f, across * 90, seed + 9));
    break; }
  case GRID: {
    float gx = fabsf(part_of(x) - .5f), gy = fabsf(part_of(y) - .5f), fx = fabsf(part_of(x * p1) - .5f), fy = fabsf(part_of(y * p1) - .5f);
    if (fx > .5f - p2 * p1 * .5f || fy > .5f - p2 * p1 * .5f) c = mix(c, C, p3);
    if (gx > .5f - p2 || gy > .5f - p2) c = B;
    break; }
  case STRIPES: {
    c = mix(A, B, smooth(.5f - p2, .5f + p2, fabsf(part_of(x) - .5f) * 2));
    if (p1 > .5f) c = mix(c, C, .5f * smooth(.5f - p2, .5f + p2, fabsf(part_of(y) - .5f) * 2));
    break; }
  case CHECKS: { c = (((int)floorf(x) + (int)floorf(y)) & 1) ? A : B; break; }
  case BRICK: case TILES: {
    float wide = kind == BRICK ? 2.4f : 1.f, row = floorf(y), xx = kind == BRICK ? x / wide + .5f * part_of(row * .5f) * 2 : x;
    float column = floorf(xx), ex = part_of(xx) * wide, ey = y - row, joint = p1 * (.7f + .6f * value_noise(x * 4, y * 4, seed));
    float e = fminf(fminf(ex, wide - ex), fminf(ey, 1 - ey));
    c = mix(A, C, hash((int)column, (int)row, seed) * p2) * (.75f + .5f * fractal(x * 7, y * 7, seed + 1, 4));
    c = mix(B * (.85f + .3f * value_noise(x * 13, y * 13, seed)), c, smooth(joint * .7f, joint * 1.2f, e));
    break; }
  case GRASS: {
    c = A * .5f;
    for (int layer = 0; layer < 7; layer++) {
      float lean = hash(layer, 3, seed) * TURN + (value_noise(x * .35f, y * .35f, seed + layer) - .5f) * .9f;
      float a = x * cosf(lean) + y * sinf(lean), b = -x * sinf(lean) + y * cosf(lean), blade = floorf(b * 7);
      float off = hash((int)blade, layer, seed) * 9, piece = floorf(a * .8f + off), q = hash((int)blade, (int)piece + layer * 31, seed);
      float along = part_of(a * .8f + off), side = part_of(b * 7) - .5f;
      if (q > .45f && fabsf(side) < .42f * (1 - along * along)) {
        Vec t = mix(mix(A, B, part_of(q * 13.7f)), C, part_of(q * 71.3f) * .8f);
        c = t * (.55f + .6f * (side + .5f)) * (.6f + .13f * layer);
      }
    }
    break; }
  case COLLAGE: { c = collage(all, (int)m[20], x, y); c = mix(c, c * A * 2.f, p1); break; }
  case WEAVE: {
    float a = .5f + .5f * sinf(x * TURN), b = .5f + .5f * sinf(y * TURN); int over = ((int)floorf(x) + (int)floorf(y)) & 1;
    c = mix(A, B, (over ? a : b) * .6f + .4f * fractal(x * .3f, y * .3f, seed, 3));
    c = c * (.85f + .3f * hash((int)floorf(x * 2), (int)floorf(y * 2), seed));
    break; }
  case RULER: {
    float t = (u + half_u) / p1, near = floorf(t + .5f), f = fabsf(t - near) * p1; int i = (int)near;
    float mark = ((i % 10 == 0) ? .34f : ((i % 5 == 0) ? .27f : .18f)) * half_v * 2 * m[8], e = half_v - v, e2 = v + half_v;
    bool on = u < half_u * .985f && u > -half_u * .985f;
    if (on && f < p2 && (e < mark || (p3 > .5f && e2 < mark))) c = B;
    float d = fabsf(t / 10 - floorf(t / 10 + .5f)) * 10 * p1, te = (e - .4f * half_v * 2) / (half_v * 2);
    if (on && d < half_v * .28f && te > 0 && te < .2f &&
        hash((int)floorf(d / (half_v * .56f) * 6) + (int)floorf(t / 10 + .5f) * 7, (int)floorf(te * 25), seed) > .45f) c = B;
    break; }
  case PRINT: {
    if (fabsf(u) < half_u * .86f && fabsf(v) < half_v * .9f) {
      float ly = v * scale / p1, lx = u * scale / (p1 * .55f); int row = (int)floorf(ly), ch = (int)floorf(lx); float fy = ly - row;
      if (fy > .25f && fy < .8f && value_noise(lx * .19f, row * 3.1f, seed) > .36f && part_of(lx) > .15f && hash(row, 1, seed) > .12f &&
          hash((int)floorf(lx * 4), (int)floorf(fy * 8) + row * 8, seed) > .4f) c = B;
      (void)ch; if (hash((int)floorf(ly / 7), 5, seed) > p2) c = mix(c, C, .8f);
    }
    break; }
  case GRAVEL: {
    float e = cells(x, y, seed, &id); Vec t = mix(mix(A, B, id), C, part_of(id * 7.3f) * p2);
    c = t * (.55f + .6f * smooth(0, p1, e)) * (.85f + .3f * value_noise(x * 5, y * 5, seed));
    break; }
  case FADE: { c = mix(A, B, clip(x + .5f, 0, 1)); break; }
  case SKY: { c = mix(A, B, clip(x + .5f, 0, 1)); c = mix(c, C, smooth(p1, p1 + .3f, fractal(u * p2, v * p2 * 1.7f, seed, 5))); break; }
  case MARKERS: {
    if (fabsf(u) < half_u * .95f && fabsf(v) < half_v * .95f) {
      float gx = u / p1, gy = v / p1; int i = (int)floorf(gx), j = (int)floorf(gy); float a = (gx - i - .1f) / .8f, b = (gy - j - .1f) / .8f;
      if (a > 0 && a < 1 && b > 0 && b < 1) {
        int ii = (int)(a * 7), jj = (int)(b * 7); c = B;
        if (ii > 0 && ii < 6 && jj > 0 && jj < 6 && hash(ii + i * 11, jj + j * 13, seed) > .5f) c = A;
      }
    }
    break; }
  case ROLL_PATTERN: {
    int i = (int)floorf(w * p1 / TURN + p3), j = (int)floorf(u / p2);
    c = ((i + (m[20] > .5f ? j : 0)) & 1) ? A : B;
    break; }
  case SPIRAL: {
    float d = fabsf(part_of(u / p2 + w / TURN * p1) - .5f);
    c = mix(A * (.9f + .2f * fractal(u * 60, v * 60, seed, 3)), B, d < p3 ? 1.f : 0.f);
    break; }
  case BLOTCHES: { float n = fractal(x, y, seed, 4), q = fractal(x + 31, y + 17, seed + 5, 4); c = n > .55f ? A : (q > .5f ? B : C); break; }
  case CARD: {
    float a = u / half_u, b = v / half_v; c = mix(A, B, clip(.5f + .5f * (a * ca + b * sa), 0, 1));
    if (b > .25f && b < .5f && a < .3f && a > -.85f && hash((int)floorf(a * 22), (int)floorf(b * 30), seed) > .45f) c = C;
    if ((a - .6f) * (a - .6f) * half_u * half_u / (half_v * half_v) + (b + .5f) * (b + .5f) < .06f) c = C;
    break; }
  case LETTERING: {  // rows of marks across a surface: print on a body or a fin
    float lx = u * scale, ly = v * scale; int row = (int)floorf(ly); float fy = ly - row;
    if (fy > .2f && fy < .8f && value_noise(lx * .2f, row * 3.1f, seed) > p1 && part_of(lx) > .15f &&
        hash((int)floorf(lx * 4), (int)floorf(fy * 6) + row * 8, seed) > .35f) c = B;
    break; }
  }
  if (m[22] > 0) c = c * (1 + m[22] * 2 * (fractal(u * m[23] + 3, v * m[23], seed + 77, 4) - .5f));
  return vec(fmaxf(c.x, 0), fmaxf(c.y, 0), fmaxf(c.z, 0));
}
FAST float height_of(const float *m, float u, float v) {
  int seed = (int)m[15] + 200, kind = (int)m[24]; float x = u * m[19], y = v * m[19];
  if (kind == 1) {  // creases
    float r = smooth(.93f, 1.f, 1 - fabsf(2 * fractal(x, y, seed, 2) - 1));
    float r2 = smooth(.95f, 1.f, 1 - fabsf(2 * fractal(x * .6f + 9, y * .6f, seed + 31, 2) - 1));
    return (r + .7f * r2) * .12f + .5f * fractal(x * .7f, y * .7f, seed + 3, 2);
  }
  if (kind == 2) { float ca = cosf(m[11]), sa = sinf(m[11]); return value_noise((x * ca + y * sa) * .15f, (-x * sa + y * ca) * 2.f, seed); }
  return fractal(x, y, seed, kind == 3 ? 5 : 3);
}
CALL Vec bumped(const float *m, float u, float v, Vec N, Vec T, Vec S) {
  if (m[18] <= 0) return N;
  float e = .05f / m[19], h = height_of(m, u, v), a = height_of(m, u + e, v), b = height_of(m, u, v + e), k = m[18] / (m[19] * e);
  return unit(N - T * ((a - h) * k) - S * ((b - h) * k));
}

// --- the rocket ------------------------------------------------------------------------------------------------------

FAST Ray to_rocket(const float *p, Vec o, Vec d) {
  Vec q = o - at(p + ROCKET), X = at(p + ROCKET + 3), Y = at(p + ROCKET + 6), Z = at(p + ROCKET + 9); Ray r;
  r.o = vec(dot(q, X), dot(q, Y), dot(q, Z)); r.d = vec(dot(d, X), dot(d, Y), dot(d, Z));
  return r;
}
FAST void take(Hit *h, float t, Vec n, int part) { h->t = t; h->n = n; h->part = part; }

// A disc or ring across the x axis.
FAST void cut_across(Ray r, float x, float inner, float outer, Hit *h) {
  if (fabsf(r.d.x) < 1e-7f) return;
  float t = (x - r.o.x) / r.d.x; if (t < NEAR || t >= h->t) return;
  float y = r.o.y + t * r.d.y, z = r.o.z + t * r.d.z, q = y * y + z * z;
  if (q <= outer * outer && q >= inner * inner) take(h, t, vec(r.d.x > 0 ? -1.f : 1.f, 0, 0), 0);
}
// The side of a cone or cylinder about the x axis, radius r0 at x0 and r1 at x1.
FAST void cut_cone(Ray r, float x0, float r0, float x1, float r1, Hit *h) {
  float b = (r1 - r0) / (x1 - x0), a = r0 - b * x0, k = a + b * r.o.x, bd = b * r.d.x;
  float A = r.d.y * r.d.y + r.d.z * r.d.z - bd * bd, B = r.o.y * r.d.y + r.o.z * r.d.z - k * bd, C = r.o.y * r.o.y + r.o.z * r.o.z - k * k;
  float D = B * B - A * C; if (D < 0 || fabsf(A) < 1e-12f) return;
  D = sqrtf(D);
  for (int side = -1; side < 2; side += 2) {
    float t = (-B + side * D) / A; if (t < NEAR || t >= h->t) continue;
    float x = r.o.x + t * r.d.x; if (x < x0 || x > x1 || a + b * x < 0) continue;
    float y = r.o.y + t * r.d.y, z = r.o.z + t * r.d.z, q = sqrtf(y * y + z * z) + 1e-12f;
    take(h, t, unit(vec(-b, y / q, z / q)), 0);
  }
}
CALL bool hit_body(const float *p, Ray r, Hit *h) {
  float most = p[ROCKET + 15], A = r.d.y * r.d.y + r.d.z * r.d.z, B = r.o.y * r.d.y + r.o.z * r.d.z;
  float C = r.o.y * r.o.y + r.o.z * r.o.z - most * most * 1.0001f, D = B * B - A * C; if (D < 0 || A < 1e-9f) return false;
  float s = sqrtf(D), xa = r.o.x + (-B - s) / A * r.d.x, xb = r.o.x + (-B + s) / A * r.d.x, before = h->t;
  if ((-B + s) / A < 0) return false;
  if (xa > xb) { float q = xa; xa = xb; xb = q; }
  if (xb < -.001f || xa > 1.001f) return false;
  int n = (int)p[ROCKET + 12]; const float *f = p + PROFILE;
  for (int i = 0; i < n - 1; i++) {
    float x0 = f[2 * i], r0 = f[2 * i + 1], x1 = f[2 * i + 2], r1 = f[2 * i + 3]; if (x1 < xa || x0 > xb) continue;
    if (x1 - x0 < 1e-6f) cut_across(r, x0, fminf(r0, r1), fmaxf(r0, r1), h); else cut_cone(r, x0, r0, x1, r1, h);
  }
  cut_across(r, f[2 * n - 2], 0, f[2 * n - 1], h); cut_across(r, f[0], 0, f[1], h);
  return h->t < before;
}
FAST float radius_at(const float *p, float x) {
  int n = (int)p[ROCKET + 12]; const float *f = p + PROFILE; if (x <= 0) return f[1];
  for (int i = 0; i < n - 1; i++) if (x <= f[2 * i + 2]) {
    float dx = f[2 * i + 2] - f[2 * i];
    return dx < 1e-7f ? f[2 * i + 3] : f[2 * i + 1] + (f[2 * i + 3] - f[2 * i + 1]) * (x - f[2 * i]) / dx;
  }
  return f[2 * n - 1];
}
CALL bool in_planform(const float *q, float x, float y) {
  if (x < q[1] || x > q[2] || y < q[3] || y > q[4]) return false;
  int n = (int)q[0]; const float *f = q + 8; bool in = false;
  for (int i = 0, j = n - 1; i < n; j = i++) {
    float yi = f[2 * i + 1], yj = f[2 * j + 1];
    if ((yi > y) != (yj > y) && x < (f[2 * j] - f[2 * i]) * (y - yi) / (yj - yi) + f[2 * i]) in = !in;
  }
  return in;
}
FAST float planform_distance(const float *q, float x, float y) {
  int n = (int)q[0]; const float *f = q + 8; float d = FAR;
  for (int i = 0, j = n - 1; i < n; j = i++) {
    float ex = f[2 * j] - f[2 * i], ey = f[2 * j + 1] - f[2 * i + 1], wx = x - f[2 * i], wy = y - f[2 * i + 1];
    float t = clip((wx * ex + wy * ey) / (ex * ex + ey * ey + 1e-12f), 0, 1), bx = wx - ex * t, by = wy - ey * t;
    d = fminf(d, bx * bx + by * by);
  }
  return in_planform(q, x, y) ? -sqrtf(d) : sqrtf(d);
}
// Fins are plates: two faces and a rim. f: angle, thickness, material, group, cos, sin.
CALL bool hit_fins(const float *p, Ray r, Hit *h) {
  bool any = false; int count = (int)p[ROCKET + 13];
  for (int k = 0; k < count; k++) {
    const float *f = p + FINS + 8 * k, *q = p + PLANFORMS + PLANFORM_SIZE * (int)f[3]; float c = f[4], s = f[5], half = f[1] * .5f;
    float cx = .5f * (q[1] + q[2]), cs = .5f * (q[3] + q[4]);
    float reach = .5f * sqrtf((q[2] - q[1]) * (q[2] - q[1]) + (q[4] - q[3]) * (q[4] - q[3])) + f[1];
    Vec to = vec(cx, cs * c, cs * s) - r.o; float near = dot(to, r.d); if (dot(to, to) - near * near > reach * reach) continue;
    Vec n = vec(0, -s, c); float on = dot(r.o, n), dn = dot(r.d, n), oe = r.o.y * c + r.o.z * s, de = r.d.y * c + r.d.z * s;
    if (fabsf(dn) > 1e-7f) for (int face = -1; face < 2; face += 2) {
      float t = (face * half - on) / dn; if (t < NEAR || t >= h->t) continue;
      if (in_planform(q, r.o.x + t * r.d.x, oe + t * de)) { take(h, t, n * (dn > 0 ? -1.f : 1.f), k); any = true; }
    }
    int m = (int)q[0]; const float *g = q + 8;
    for (int i = 0, j = m - 1; i < m; j = i++) {
      float ex = g[2 * i] - g[2 * j], es = g[2 * i + 1] - g[2 * j + 1], nx = es, ns = -ex, l = nx * r.d.x + ns * de;
      if (fabsf(l) < 1e-9f) continue;
      float t = ((g[2 * j] - r.o.x) * nx + (g[2 * j + 1] - oe) * ns) / l; if (t < NEAR || t >= h->t) continue;
      if (fabsf(on + t * dn) > half) continue;
      float u = (r.o.x + t * r.d.x - g[2 * j]) * ex + (oe + t * de - g[2 * j + 1]) * es, l2 = ex * ex + es * es; if (u < 0 || u > l2) continue;
      float sign = (l > 0 ? -1.f : 1.f) / sqrtf(l2 + 1e-20f);
      take(h, t, vec(nx * sign, ns * c * sign, ns * s * sign), k); any = true;
    }
  }
  return any;
}

// --- other things ------------------------------------------------------------------------------------------------------
// b: 1 box or 2 cone, casts a shadow, material, centre, three axes, half sizes (box) or half length and two radii (cone),
// corner radius.

CALL bool hit_cone(Ray r, float half, float r0, float r1, Hit *h) {
  float before = h->t; cut_cone(r, -half, r0, half, r1, h); cut_across(r, -half, 0, r0, h); cut_across(r, half, 0, r1, h);
  return h->t < before;
}
FAST float box_distance(Vec q, Vec h) {
  float x = fabsf(q.x) - h.x, y = fabsf(q.y) - h.y, z = fabsf(q.z) - h.z, ax = fmaxf(x, 0), ay = fmaxf(y, 0), az = fmaxf(z, 0);
  return sqrtf(ax * ax + ay * ay + az * az) + fminf(fmaxf(x, fmaxf(y, z)), 0);
}
FAST Ray to_thing(const float *b, Vec o, Vec d) {
  Vec c = o - at(b + 3), X = at(b + 6), Y = at(b + 9), Z = at(b + 12); Ray r;
  r.o = vec(dot(c, X), dot(c, Y), dot(c, Z)); r.d = vec(dot(d, X), dot(d, Y), dot(d, Z));
  return r;
}

// --- light ---------------------------------------------------------------------------------------------------------------

// How much of a lamp of some width is seen from a point. self: 1 body, 2 + k fin k, else 0.
CALL float lit(const float *p, Vec P, Vec l, float wide, int self) {
  float v = 1; Ray r = to_rocket(p, P, l);
  if (self != 1) {
    float A = r.d.y * r.d.y + r.d.z * r.d.z, tc = -(r.o.y * r.d.y + r.o.z * r.d.z) / fmaxf(A, 1e-6f);
    if (A > 1e-4f && tc > 0) {
      float x = r.o.x + tc * r.d.x, y = r.o.y + tc * r.d.y, z = r.o.z + tc * r.d.z, q = sqrtf(y * y + z * z);
      if (q < p[ROCKET + 15] + tc * wide * 1.2f) {
        float d = fmaxf(q - radius_at(p, x), fmaxf(x - 1, -x) * sqrtf(A)), w = tc * wide + 2e-4f; v *= smooth(-w, w, d);
      }
    }
  }
  int count = (int)p[ROCKET + 13];
  for (int k = 0; k < count && v > .01f; k++) {
    if (self == 2 + k) continue;
    const float *f = p + FINS + 8 * k, *q = p + PLANFORMS + PLANFORM_SIZE * (int)f[3];
    Vec n = vec(0, -f[5], f[4]); float dn = dot(r.d, n); if (fabsf(dn) < 1e-4f) continue;
    float t = -dot(r.o, n) / dn; if (t < 1e-3f) continue;
    float x = r.o.x + t * r.d.x, s = (r.o.y + t * r.d.y) * f[4] + (r.o.z + t * r.d.z) * f[5], w = t * wide + 2e-4f, m = w * 2.f;
    if (x < q[1] - m || x > q[2] + m || s < q[3] - m || s > q[4] + m) continue;
    v *= smooth(-w, w, planform_distance(q, x, s) * (.35f + .65f * fabsf(dn)));
  }
  int things = (int)p[N_THINGS];
  for (int k = 0; k < things && v > .01f; k++) {
    const float *b = p + THINGS + THING_SIZE * k; if (b[1] < .5f) continue;
    Ray q = to_thing(b, P, l); Vec h = at(b + 15);
    if ((int)b[0] == 1) {
      float t = 1e-3f, m = 1; if (box_distance(q.o, h) < 1e-3f) continue;
      for (int i = 0; i < 12; i++) { float s = box_distance(q.o + q.d * t, h); m = fminf(m, s / (t * wide + 1e-3f)); t += fmaxf(s, .004f); if (m < .01f || t > 3) break; }
      v *= smooth(0, 1, m);
    } else {
      float A = q.d.y * q.d.y + q.d.z * q.d.z; if (A < 1e-4f) continue;
      float tc = -(q.o.y * q.d.y + q.o.z * q.d.z) / A; if (tc < 1e-3f) continue;
      float x = q.o.x + tc * q.d.x, y = q.o.y + tc * q.d.y, z = q.o.z + tc * q.d.z, e = clip((x + h.x) / (2 * h.x), 0, 1), rr = h.y + (h.z - h.y) * e;
      if (q.o.y * q.o.y + q.o.z * q.o.z < rr * rr * 1.01f) continue;
      float d = fmaxf(sqrtf(y * y + z * z) - rr, (fabsf(x) - h.x) * sqrtf(A)), w = tc * wide + 3e-4f; v *= smooth(-w, w, d);
    }
  }
  return v;
}
// How much of the sky near a surface the rocket and boxes leave free.
CALL float openness(const float *p, Vec P, Vec N) {
  float a = 1; Ray r = to_rocket(p, P, N); float q = sqrtf(r.o.y * r.o.y + r.o.z * r.o.z) + 1e-6f, x = r.o.x;
  float k = radius_at(p, clip(x, 0, 1)); k = k / fmaxf(q, k);
  float toward = clip(-(r.o.y * r.d.y + r.o.z * r.d.z) / q, 0, 1), end = smooth(-2 * q, q * .6f + .01f, x) * smooth(1 + 2 * q, 1 - q * .6f - .01f, x);
  a *= 1 - clip(k * (.35f + .65f * toward) * end, 0, .95f);
  int things = (int)p[N_THINGS];
  for (int i = 0; i < things; i++) {
    const float *b = p + THINGS + THING_SIZE * i; if ((int)b[0] != 1 || b[17] < .008f) continue;
    float s = box_distance(to_thing(b, P, N).o, at(b + 15)); if (s > 1e-3f) a *= 1 - .5f * expf(-s / (b[17] * .8f));
  }
  return a;
}
// Two axes of the second plane, along which its material runs.
FAST void wall_axes(Vec n, Vec *T, Vec *S) { *T = unit(cross(fabsf(n.z) > .8f ? vec(1, 0, 0) : vec(0, 0, 1), n)); *S = cross(n, *T); }
// What a glossy side shows of the ground it lies on, the wall behind it and the room above.
CALL Vec mirrored(const float *p, const unsigned char *all, Vec P, Vec d) {
  Vec bounce = at(p + LIGHT_ALL + 3), sky = at(p + LIGHT_ALL), lamps = (sky + at(p + LIGHTS + 3) * .5f), c;
  float ground = d.z < -.02f ? P.z / -d.z : FAR, wall = FAR; Vec n = at(p + WALL_AT + 3);
  if (p[WALL_ON] > .5f && dot(d, n) < -.02f) { wall = dot(at(p + WALL_AT) - P, n) / dot(d, n); if (wall < 0) wall = FAR; }
  if (wall < ground) {
    Vec T, S, g = P + d * wall - at(p + WALL_AT); wall_axes(n, &T, &S);
    c = mix(bounce, colour_of(p + MATERIALS + MATERIAL_SIZE, dot(g, T), dot(g, S), 0, all) * lamps, 1 / (1 + .1f * wall));
  } else if (ground < FAR) {
    Vec g = P + d * ground;
    c = mix(bounce, colour_of(p + MATERIALS, g.x, g.y, 0, all) * lamps, smooth(.02f, .1f, -d.z) / (1 + .3f * ground));
  } else c = mix(bounce, sky, smooth(-.25f, .25f, d.z));
  if (fminf(wall, ground) >= FAR && p[ROOM + 1] > 0) c = mix(c, collage(all, (int)p[ROOM], d.x * p[ROOM + 2] + .37f, d.y * p[ROOM + 2] + .21f) * sky * 2.f, p[ROOM + 1]);
  for (int i = 0; i < (int)p[N_LIGHTS]; i++) {
    const float *l = p + LIGHTS + 8 * i; float w = l[6], cc = 1 / sqrtf(1 + w * w);
    c = c + at(l + 3) * (smooth(cc - .05f, cc + .02f, dot(d, at(l))) * clip(.25f / (w + .06f), 0, 4));
  }
  return c;
}

// --- one ray of one pixel ------------------------------------------------------------------------------------------------

CALL void pixel(const float *p, const unsigned char *all, float px, float py, float *out) {
  const float *cam = p + CAMERA; float a = (px - cam[13]) / cam[12], b = (py - cam[14]) / cam[12], bend = 1 + cam[15] * (a * a + b * b);
  Vec o = at(cam), d = unit(at(cam + 3) * (a * bend) + at(cam + 6) * (b * bend) + at(cam + 9));
  enum { NOTHING, GROUND, WALL, THING, BODY_, FIN_, LUG_ };
  int what = NOTHING, self = 0, thing = -1; const float *m = p + MATERIALS; float t = FAR, u = 0, v = 0, w = 0, fu = 0, fv = 0; bool face = true;
  Vec N = vec(0, 0, 1), T = vec(1, 0, 0), S = vec(0, 1, 0);
  if (d.z < -1e-5f) { t = -o.z / d.z; what = GROUND; }
  if (p[WALL_ON] > .5f) { Vec n = at(p + WALL_AT + 3); float dn = dot(d, n); if (dn < -1e-6f) { float s = dot(at(p + WALL_AT) - o, n) / dn; if (s > 0 && s < t) { t = s; what = WALL; } } }
  float behind = t + 1e-4f;
  int things = (int)p[N_THINGS];
  for (int k = 0; k < things; k++) {
    const float *q = p + THINGS + THING_SIZE * k; Ray r = to_thing(q, o, d); Vec h = at(q + 15), X = at(q + 6), Y = at(q + 9), Z = at(q + 12);
    if ((int)q[0] == 1) {
      float t0 = -FAR, t1 = FAR; int ax = 0; float oo[3] = {r.o.x, r.o.y, r.o.z}, dd[3] = {r.d.x, r.d.y, r.d.z}, hh[3] = {h.x, h.y, h.z}; bool miss = false;
      for (int i = 0; i < 3; i++) {
        if (fabsf(dd[i]) < 1e-8f) { if (fabsf(oo[i]) > hh[i]) { miss = true; break; } continue; }
        float i0 = (-hh[i] - oo[i]) / dd[i], i1 = (hh[i] - oo[i]) / dd[i]; if (i0 > i1) { float z = i0; i0 = i1; i1 = z; }
        if (i0 > t0) { t0 = i0; ax = i; } if (i1 < t1) t1 = i1;
      }
      if (miss || t0 > t1 || t0 < NEAR || t0 >= t) continue;
      Vec L = r.o + r.d * t0;
      if (q[18] > 0) { float ex = fabsf(L.x) - (h.x - q[18]), ey = fabsf(L.y) - (h.y - q[18]); if (ex > 0 && ey > 0 && ex * ex + ey * ey > q[18] * q[18]) continue; }
      t = t0; thing = k; what = THING; N = (ax == 0 ? X : (ax == 1 ? Y : Z)) * (dd[ax] > 0 ? -1.f : 1.f);
      face = ax == 2; fu = ax == 0 ? L.z : L.x; fv = ax == 2 ? L.y : (ax == 1 ? L.z : L.y); T = X; S = Y;
    } else {
      Hit g; g.t = t;
      if (hit_cone(r, h.x, h.y, h.z, &g)) {
        t = g.t; thing = k; what = THING; N = X * g.n.x + Y * g.n.y + Z * g.n.z; Vec L = r.o + r.d * t;
        fu = L.x; w = atan2f(L.z, L.y); fv = w * h.y; face = true; T = X; S = cross(N, X);
      }
    }
  }
  // the rocket, whatever stands before it: labels tell hidden parts too
  Ray r = to_rocket(p, o, d); Hit body, fin, lug; body.t = behind; bool on_body = hit_body(p, r, &body), on_fin, on_lug = false; int which_lug = 0;
  fin.t = on_body ? body.t : behind; on_fin = hit_fins(p, r, &fin);
  lug.t = fminf(body.t, fin.t); int lugs = (int)p[ROCKET + 14];
  for (int k = 0; k < lugs; k++) {
    const float *g = p + LUGS + 8 * k; Ray q = r; q.o = r.o - vec(.5f * (g[0] + g[1]), g[2] * cosf(g[3]), g[2] * sinf(g[3]));
    if (hit_cone(q, .5f * (g[1] - g[0]), g[4], g[4], &lug)) { on_lug = true; which_lug = k; }
  }
  bool rocket = on_body || on_fin; float nearest = on_lug ? lug.t : fminf(body.t, fin.t);
  for (int k = 3; k < 10; k++) out[k] = 0;
  out[3] = rocket; out[4] = on_body;
  if (rocket || on_lug) {
    if (nearest < t) {
      t = nearest; Vec n = on_lug ? lug.n : (on_fin ? fin.n : body.n), X = at(p + ROCKET + 3), Y = at(p + ROCKET + 6), Z = at(p + ROCKET + 9);
      N = X * n.x + Y * n.y + Z * n.z; T = X; S = cross(N, X); Vec L = r.o + r.d * t; u = L.x;
      if (on_lug) { what = LUG_; self = 1; m = p + MATERIALS + MATERIAL_SIZE * (int)p[LUGS + 8 * which_lug + 5]; }
      else if (on_fin) {
        const float *f = p + FINS + 8 * fin.part; what = FIN_; v = L.y * f[4] + L.z * f[5]; w = v * 20; self = 2 + fin.part;
        m = p + MATERIALS + MATERIAL_SIZE * (int)f[2]; out[5] = 1;
      } else {
        what = BODY_; w = atan2f(L.z, L.y); v = w * p[ROCKET + 15]; self = 1; int n_sections = (int)p[ROCKET + 16], material = 2;
        for (int i = 0; i < n_sections; i++) if (u >= p[SECTIONS + 2 * i]) material = (int)p[SECTIONS + 2 * i + 1];
        m = p + MATERIALS + MATERIAL_SIZE * material;
      }
    } else out[6] = rocket;
    if (on_body && (r.o + r.d * body.t).x < NOSE_SHARE) out[7] = 1;
  }
  Vec P = o + d * t;
  if (what == NOTHING) { Vec c = at(p + LIGHT_ALL + 7); out[0] = c.x; out[1] = c.y; out[2] = c.z; return; }
  if (what == GROUND) { u = P.x; v = P.y; }
  else if (what == WALL) {
    m = p + MATERIALS + MATERIAL_SIZE; N = at(p + WALL_AT + 3); wall_axes(N, &T, &S);
    Vec c = P - at(p + WALL_AT); u = dot(c, T); v = dot(c, S);
  } else if (what == THING) { m = p + MATERIALS + MATERIAL_SIZE * (int)p[THINGS + THING_SIZE * thing + 2]; u = fu; v = fv; out[8] = 1; }
  N = bumped(m, u, v, N, T, S);
  Vec c = (what == THING && !face) ? at(m + 1) * .9f : colour_of(m, u, v, w, all);
  if (what == BODY_) {
    int n = (int)p[ROCKET + 17];
    for (int k = 0; k < n; k++) {
      const float *g = p + DECALS + 8 * k; float dw = w - g[2]; dw -= TURN * floorf(dw / TURN + .5f); if (u <= g[0] || u >= g[1] || fabsf(dw) >= g[3]) continue;
      int kind = (int)g[4]; float e = (u - g[0]) / (g[1] - g[0]), f = (dw / g[3]) * .5f + .5f; bool ink = true;
      if (kind == 1) { float letters = fmaxf(2, floorf((g[1] - g[0]) / (p[ROCKET + 15] * g[3] * 1.5f))), cx = part_of(e * letters); ink = cx > .15f && cx < .9f && hash((int)floorf(e * letters * 4), (int)floorf(f * 5), k + (int)m[15]) > .4f; }
      else if (kind == 2) ink = (e - .5f) * (e - .5f) + (f - .5f) * (f - .5f) < .25f;
      else if (kind == 3) ink = fabsf(f - .5f) < .15f || fabsf(e - .5f) < .1f;
      if (ink) c = vec(g[5], g[6], g[7]);
    }
  }
  if (dot(N, d) > 0 && m[18] <= 0) N = N * -1.f;
  Vec Po = P + N * 1e-3f; float A = self == 1 ? 1 : openness(p, P, N); A = 1 - (1 - A) * p[LIGHT_ALL + 6];
  Vec light = mix(at(p + LIGHT_ALL + 3), at(p + LIGHT_ALL), .5f + .5f * N.z) * A, shine = vec(0, 0, 0); float shade = 0, total = 0;
  for (int i = 0; i < (int)p[N_LIGHTS]; i++) {
    const float *l = p + LIGHTS + 8 * i; Vec dir = at(l), lc = at(l + 3); float wide = clip(l[6], 0, .6f);
    float co = clip((dot(N, dir) + wide * .5f) / (1 + wide * .5f), 0, 1); if (co <= 0) continue;
    float seen = lit(p, Po, dir, l[6], self), lum = lc.x + lc.y + lc.z; total += lum * co; shade += lum * co * (1 - seen); light = light + lc * (co * seen);
    if (m[16] > 0) shine = shine + lc * (seen * m[16] * powf(clip(dot(N, unit(dir - d)), 0, 1), m[17]));
  }
  if ((what == GROUND || what == WALL) && m[21] > 0) c = c * (1 - m[21] * smooth(.5f - m[27], .5f + m[27], fractal(u * m[26] + 7, v * m[26], (int)m[15] + 55, 2)));
  c = c * light + shine;
  if (m[25] > 0) {  // Schlick's reflectance of a glossy coat or of metal
    float f = 1 - clip(-dot(N, d), 0, 1); f = f * f * f * f; float k = m[25] + (1 - m[25]) * f * .5f;
    Vec e = mirrored(p, all, Po, d - N * (2 * dot(d, N))); if (m[25] > .5f) e = e * at(m + 1);
    c = mix(c, e, k);
  }
  out[0] = c.x; out[1] = c.y; out[2] = c.z; if (what <= THING) out[9] = total > 0 ? shade / (total + 1e-6f) : 0;
}
FAST void draw(const float *p, const unsigned char *all, int x, int y, int width, int height, float *planes) {
  float sum[N_PLANES], one[N_PLANES]; const float ox[4] = {.125f, .625f, .375f, .875f}, oy[4] = {.375f, .125f, .875f, .625f};
  for (int k = 0; k < N_PLANES; k++) sum[k] = 0;
  for (int s = 0; s < 4; s++) { pixel(p, all, x + ox[s] - .5f, y + oy[s] - .5f, one); for (int k = 0; k < N_PLANES; k++) sum[k] += one[k] * .25f; }
  for (int k = 0; k < N_PLANES; k++) planes[(long)k * width * height + (long)y * width + x] = sum[k];
}
#ifdef __CUDACC__
extern "C" __global__ void render(const float *scenes, const unsigned char *all, float *planes, int width, int height) {
  int x = blockIdx.x * blockDim.x + threadIdx.x, y = blockIdx.y * blockDim.y + threadIdx.y, k = blockIdx.z;
  if (x < width && y < height) draw(scenes + (long)k * SCENE_SIZE, all, x, y, width, height, planes + (long)k * N_PLANES * width * height);
}
#else
extern "C" void render(const float *scenes, const unsigned char *all, float *planes, int width, int height, int count) {
  for (int k = 0; k < count; k++) for (int y = 0; y < height; y++) for (int x = 0; x < width; x++)
    draw(scenes + (long)k * SCENE_SIZE, all, x, y, width, height, planes + (long)k * N_PLANES * width * height);
}
#endif
