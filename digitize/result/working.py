"""Every part, formula, number and source of a solved geometry, line by line, to be checked by hand."""

import textwrap
from dataclasses import replace

import numpy as np

from digitize.aero import body, components, fins, interference
from digitize.aero.angle_curve import loads_of
from digitize.aero.crossflow import CYLINDER_DRAG, STALL_DEG, attached_share, crossflow_share
from digitize.aero.methods import AFT_WEIGHT, SLOPE_SCATTER
from digitize.records import FinGroup, Geometry, Quantity
from digitize.result_records import MethodView, Result
from digitize.units.sentences import in_words
from digitize.units.shown_units import IN, now, shown_in, unit_of

B66 = "J. S. and J. A. Barrowman, The Theoretical Prediction of the Center of Pressure, NARAM-8 (1966)"
_WIDTH = 100


def explain_text(geometry: Geometry, result: Result) -> str:
    """The whole working in plain text, in the units the result is shown in, and radians; result: of `solve` for this
    geometry. The formulas hold in any unit of length, so both are put in inches first where those are asked for."""
    with shown_in(result.units):
        if now() == IN:
            geometry, result = _in_inches(geometry, result)
        return _text(geometry, result)


def _text(geometry: Geometry, result: Result) -> str:
    area, unit = float(body.reference_area(geometry.profile_mm[:, 1])), unit_of("mm").name
    diameter = 2 * geometry.profile_mm[:, 1].max()
    sections = [
        (
            f"{geometry.name}: the working",
            [
                f"reference area A = pi d^2 / 4 of the largest diameter d = {diameter:.3f}: A = {area:.3f} {unit}2",
                f"S: cross-section pi r^2; V: volume; x: from the nose tip; in {unit}, {unit}2, {unit}3; slopes "
                "per radian",
                f"[1] {B66}",
            ],
        ),
        *(_body_part(geometry, area, start, stop, name) for start, stop, name in components.part_spans(geometry)),
        *(_fin_part(geometry, area, group, k) for k, group in enumerate(geometry.fins, 1)),
        _sum(result),
        _cutout(result),
        _methods(result),
        _angle(geometry, result),
    ]
    return "\n\n".join(_section(title, lines) for title, lines in sections if lines) + "\n"


def _in_inches(geometry: Geometry, result: Result) -> tuple[Geometry, Result]:
    """Both with every length of the working in inches, in the fields that are millimetres otherwise."""
    per = unit_of("mm").per_metric

    def q(of: Quantity, power: int = 1) -> Quantity:
        return Quantity(of.value * per**power, of.pm95 * per**power)

    fins = tuple(replace(g, outline_mm=g.outline_mm * per, thickness_mm=g.thickness_mm * per) for g in geometry.fins)
    view, curve, balance = result.methods, result.angle, result.balance_mm
    return replace(geometry, profile_mm=geometry.profile_mm * per, fins=fins), replace(
        result,
        parts=tuple(replace(part, x_mm=part.x_mm * per) for part in result.parts),
        cp_x_mm=q(result.cp_x_mm),
        cutout_area_mm2=q(result.cutout_area_mm2, 2),
        cutout_centroid_mm=q(result.cutout_centroid_mm),
        balance_mm=None if balance is None else q(balance),
        max_diameter_mm=q(result.max_diameter_mm),
        methods=None if view is None else _view_in_inches(view, per),
        angle=None if curve is None else replace(curve, wind_cp_x_mm=curve.wind_cp_x_mm * per),
    )


def _view_in_inches(view: MethodView, per: float) -> MethodView:
    return replace(
        view,
        method_pm95_mm=view.method_pm95_mm * per,
        words=tuple(in_words(sentence) for sentence in view.words),
        readings=tuple(replace(reading, cp_x_mm=reading.cp_x_mm * per) for reading in view.readings),
        at_mach=tuple(replace(reading, cp_x_mm=reading.cp_x_mm * per) for reading in view.at_mach),
    )


def _section(title: str, lines: list[str]) -> str:
    wrapped = [
        textwrap.fill(line, _WIDTH, initial_indent="  ", subsequent_indent="      ", break_on_hyphens=False)
        for line in lines
    ]
    return "\n".join([title, *wrapped])


def _body_part(geometry: Geometry, area: float, start: int, stop: int, name: str):
    """One part of the body: from point start - 1 (the tip for 0) to point stop - 1 of the profile."""
    x, r = geometry.profile_mm[max(start - 1, 0) : stop].T
    section = np.pi * r**2
    fore, aft = (0.0 if start == 0 else section[0]), section[-1]
    volume, length = float(body.segment_volumes(x, r).sum()), x[-1] - x[0]
    slope = 2 / area * (aft - fore)
    lines = [
        f"from x = {x[0]:.3f} to {x[-1]:.3f}: length L = {length:.3f}, S fore = {fore:.3f}, S aft = {aft:.3f}, "
        f"V = {volume:.2f}",
        f"slope = (2 / A)(S aft - S fore) = (2 / {area:.3f})({aft:.3f} - {fore:.3f}) = {slope:.6f}  [1] eq 10",
    ]
    if aft != fore:
        behind = (length * aft - volume) / (aft - fore)
        lines.append(
            f"acts (L S aft - V) / (S aft - S fore) = {behind:.4f} behind its front, x = {x[0] + behind:.4f}  [1] eq 28"
        )
    return f"body, {name}", lines


def _fin_part(geometry: Geometry, area: float, group: FinGroup, k: int):
    outline = group.outline_mm
    radius = components.mean_root_radius(geometry.profile_mm, outline[0, 0], outline[-1, 0])
    plan = fins.planform(components.exposed_planform(geometry.profile_mm, outline))
    span = outline[:, 1].max() - radius
    one, sweep = float(plan.area_mm2), np.arctan(float(plan.midchord_slope))
    aspect = 2 * span**2 / one
    slope = float(fins.fin_slope(plan.area_mm2, span, plan.midchord_slope, area))
    count, factor = interference.count_factor(group.count), float(interference.body_factor(group.count, radius, span))
    middle, mac = float(plan.x_centroid_mm), float(plan.mac_mm)
    k_words = "1 + r / (s + r)" if group.count <= 4 else "1 + r / (2 (s + r))"
    k_source = "[1] eq 77" if group.count <= 4 else "for six fins, from memory"
    return f"fins, group {k}: {group.count} of them", [
        f"body radius r = {radius:.4f} (mean along the root; on a narrowing tail a choice, not a citation), span "
        f"s = {span:.4f}",
        f"area of one fin A_f = {one:.4f}, mid-chord sweep G = {np.degrees(sweep):.4f} degrees (mean over the span, "
        "weighted by the chord)",
        f"AR = 2 s^2 / A_f = {aspect:.6f}",
        f"one fin: 2 pi AR / (2 + sqrt(4 + (AR / cos G)^2)) x A_f / A = {slope:.6f}  F. W. Diederich, NACA TN 2335 "
        "(1951), from memory; for a trapezoid the same as [1] eq 57",
        f"number of fins: N / 2 = {count:g}  [1] eq 58, 59",
        f"beside the body: K = {k_words} = {factor:.6f}  {k_source}",
        f"slope = {slope:.6f} x {count:g} x {factor:.6f} = {slope * count * factor:.6f}",
        f"mean aerodynamic chord c = {mac:.4f}, centroid of the area x_c = {middle:.4f}; acts a quarter of c behind "
        f"its front, x = x_c - c / 4 = {middle - mac / 4:.4f}  for a trapezoid the same as [1] eq 76a",
    ]


def _sum(result: Result):
    parts = [f"{p.part}: {p.cn_alpha_per_rad:.6f} at {p.x_mm:.4f}" for p in result.parts]
    moment = sum(p.cn_alpha_per_rad * p.x_mm for p in result.parts)
    slope = result.cn_alpha_per_rad.value
    return "sum", [
        *parts,
        f"slope = {slope:.6f}",
        f"centre of pressure = sum(slope x) / sum(slope) = {moment:.4f} / {slope:.6f} = {result.cp_x_mm.value:.4f}",
    ]


def _cutout(result: Result):
    lines = [
        f"area of the side view {result.cutout_area_mm2.value:.3f}, centroid x = "
        f"{result.cutout_centroid_mm.value:.4f}: sum(area x distance) / area  NASA Glenn Research Center, "
        "Beginner's Guide, Rocket Center of Pressure",
    ]
    margin, cutout_margin, decides = result.margin_calibers, result.cutout_margin_calibers, result.deciding
    if result.balance_mm is not None and margin is not None and cutout_margin is not None and decides is not None:
        d, b = result.max_diameter_mm.value, result.balance_mm.value
        lines += [
            f"margin = (centre of pressure - balance) / d = ({result.cp_x_mm.value:.4f} - {b:.6g}) / {d:.4f} = "
            f"{margin.value:.4f} calibers",
            f"by the cut-out ({result.cutout_centroid_mm.value:.4f} - {b:.6g}) / {d:.4f} = "
            f"{cutout_margin.value:.4f} calibers",
            f"the margin by the {decides.by} decides",
        ]
    return "cut-out and margin", lines


def _methods(result: Result):
    view, title = result.methods, "other methods, and the method's own band"
    if view is None:
        return title, []
    first = view.readings[0].cp_x_mm
    lines = [
        f"{r.name}: slope {r.cn_alpha_per_rad:.4f}, centre of pressure {r.cp_x_mm:.4f} ({r.cp_x_mm - first:+.4f})"
        for r in view.readings
    ]
    lines += [f"at Mach {view.mach:g}, {r.name}: slope {r.cn_alpha_per_rad:.4f}, {r.cp_x_mm:.4f}" for r in view.at_mach]
    return title, [
        *lines,
        f"band +- {view.method_pm95_mm:.4f}: the largest difference (those aft count {AFT_WEIGHT:g}; wakes and "
        f"air that comes loose come on top), {100 * SLOPE_SCATTER:.0f} % of the fins' slope, and the choice of body "
        "radius at the fins (1.96 / 4 of its readings' spread), as the root of the sum of squares",
        *view.words[1:],
        "lattice: see digitize/aero/lattice.py, wakes: digitize/aero/wake.py; K_W(B) and K_B(W): W. C. Pitts, J. N. "
        "Nielsen, G. E. Kaattari, NACA TR 1307 (1957), from memory",
    ]


def _angle(geometry: Geometry, result: Result):
    curve, title = result.angle, "angle of attack"
    if curve is None:
        return title, []
    cut = (result.cutout_area_mm2.value, result.cutout_centroid_mm.value)
    cp = components.centre_of_pressure(geometry)
    loads, a = loads_of(geometry, cp, *cut), np.radians(curve.wind_deg)
    eta = float(crossflow_share(loads.slenderness))
    slender = loads.body_slope * np.sin(a) * np.cos(a) * np.cos(a / 2)
    lift = loads.fin_slope * float(attached_share(a)) * np.sin(a) * np.cos(a)
    pressure, sine, f = eta * CYLINDER_DRAG / loads.reference_mm2, np.sin(a), float(attached_share(a))
    on_body = pressure * (loads.side_mm2 - loads.fin_side_mm2) * sine**2
    on_fins = pressure * loads.fin_side_mm2 * (f * sine**2 + (1 - f) * sine)
    return title, [
        f"a = atan({curve.wind_mps:g} / {curve.rod_speed_mps:g}) = {curve.wind_deg:.3f} degrees",
        f"body: slope sin a cos a cos(a / 2) = {slender:.6f}",
        f"fins: slope f sin a cos a = {lift:.6f}, f = {f:.4f}: 1 up to {STALL_DEG[0]:g} degrees, fading to 0 at "
        f"{STALL_DEG[1]:g}",
        f"cross-flow on the body: eta {CYLINDER_DRAG:g} (its side area / A) sin^2 a = {on_body:.6f}, eta = {eta:.4f} "
        f"at {loads.slenderness:.2f} calibers",
        f"cross-flow on the fins: eta {CYLINDER_DRAG:g} (area they show / A) (f sin^2 a + (1 - f) sin a) = "
        f"{on_fins:.6f}",
        "H. J. Allen, E. W. Perkins, NACA TR 1048 (1951); L. H. Jorgensen, NASA TR R-474 (1977); forms from memory",
        f"centre of pressure there = {curve.wind_cp_x_mm:.4f}",
    ]
