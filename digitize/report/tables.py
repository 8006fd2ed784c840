"""The report's sections of numbers and words, each as HTML; an empty text when there is nothing to show."""

from html import escape

from digitize.records import MethodReading, ProfilePiece
from digitize.report.text import by_cutout, cutout_note, in_calibers, scale_words, sentence
from digitize.result_records import BandShare, HandCheck, PhotoAlone, Result
from digitize.units.rounding import band_alone, exact, fixed, signed, sized, with_band

_SOURCES = {
    "scale": "the scale",
    "set-back": "how far the reference lies behind the rocket",
    "edge": "where the rocket's edge is seen",
    "root under the fin": "where the body hides the fins' roots",
    "pose": "how the rocket lies and its fins stand",
    "lens": "the camera's lens",
    "method": "the way of working it out",
}
_SHAPES = {"haack": "nose for least drag (haack)"}


def numbers(result: Result) -> str:
    """The chief numbers with their bands, the centre of pressure first; what was not given is left out."""
    nose = "from the nose tip"
    rows = (
        ("centre of pressure", result.cp_x_mm, "mm", nose + in_calibers(result), "chief"),
        (
            "cut-out balance",
            result.cutout_centroid_mm,
            "mm",
            f"{nose}; where a card of this outline balances",
            "other",
        ),
        ("balance point", result.balance_mm, "mm", f"{nose}, {_balance_words(result)}", "other"),
        ("margin", result.margin_calibers, "calibers", _margin_note(result), "chief"),
        (
            "margin by cut-out",
            result.cutout_margin_calibers,
            "calibers",
            cutout_note(result),
            "other",
        ),
        ("length", result.length_mm, "mm", "nose tip to aft end of the body", "other"),
        ("largest diameter", result.max_diameter_mm, "mm", "one caliber", "other"),
        ("base diameter", result.base_diameter_mm, "mm", "at the aft end", "other"),
        ("cut-out area", result.cutout_area_mm2, "mm²", "the side view as photographed", "other"),
        (
            "force for the air's angle",
            result.cn_alpha_per_rad,
            "per radian",
            "normal-force slope, the air nearly from ahead",
            "other",
        ),
    )
    body = "\n".join(
        f'<tr class="{kind}">{_th(what)}{_num(with_band(quantity, unit))}<td class="note">{escape(note)}</td></tr>'
        for what, quantity, unit, note, kind in rows
        if quantity is not None
    )
    table = _table(("what", "value ± 95 % band", ""), body, numeric=(1,))
    note = (
        "<p>Each ± is half a 95 % band: the truth lies inside it 19 times in 20. A number without one was taken as "
        "exact. "
        "The same numbers, with more digits, are in result.json.</p>"
    )
    return _section("Numbers", table + note)


def _margin_note(result: Result) -> str:
    note = "centre of pressure behind balance"
    return f"{note}; it does not decide here" if by_cutout(result) else note


def _balance_words(result: Result) -> str:
    state = result.worst_state
    if state is not None:
        return f"{state.state} with {state.motor}, the worst state"
    found = result.as_balanced_mm
    return "as given" if found in (None, result.balance_mm) else "with the masses added"


def balance_states(result: Result) -> str:
    """The rocket with each motor at lift-off and after burn-out; nothing where there is one state only."""
    worst = result.worst_state
    if worst is None:
        return ""
    body = "\n".join(
        f'<tr class="{"chief" if state is worst else "other"}">{_th(state.state)}'
        f"<td>{escape(state.motor or '')}</td>"
        f"{_num(with_band(state.mass_g, 'g'))}{_num(with_band(state.balance_mm, 'mm'))}"
        f"{_num(with_band(state.margin_calibers, 'calibers'))}<td>{'decides' if state is worst else ''}</td></tr>"
        for state in result.balance_states
    )
    heads = ("state", "motor", "mass", "balance point", "margin", "")
    caption = f"As balanced: {with_band(result.as_balanced_mm, 'mm')}; the rest by what was moved"
    return _section("Balance in each state", _table(heads, body, numeric=(2, 3, 4), caption=caption))


def warnings(result: Result) -> str:
    """Each warning with what to do about it."""
    if not result.warnings:
        return ""
    items = "\n".join(
        f"<div><dt>{escape(sentence(w.text))}</dt><dd>{escape(sentence(w.remedy))}</dd></div>" for w in result.warnings
    )
    return _section("Warnings", f'<dl class="warnings">\n{items}\n</dl>')


def photos(result: Result) -> str:
    """What each of several photos says by itself, beside what they say together."""
    if not result.photos:
        return ""
    together = PhotoAlone("together", result.length_mm, result.max_diameter_mm, result.cp_x_mm)
    body = "\n".join(
        f"<tr>{_th(p.file)}{_num(with_band(p.cp_x_mm, 'mm'))}"
        f"{_num(with_band(p.length_mm, 'mm'))}{_num(with_band(p.max_diameter_mm, 'mm'))}</tr>"
        for p in (*result.photos, together)
    )
    heads = ("photo", "centre of pressure", "length", "largest diameter")
    return _section("Each photo alone", _table(heads, body, numeric=(1, 2, 3)))


def hand_checks(result: Result) -> str:
    """Hand measurements beside the photo's."""
    if not result.hand_checks:
        return ""
    body = "\n".join(
        f"<tr>{_th(c.name)}{_num(sized(c.by_hand_mm, 'mm'))}"
        f"{_num(with_band(c.by_photo_mm, 'mm'))}"
        f"<td>{_hand_words(c)}</td></tr>"
        for c in result.hand_checks
    )
    return _section("Measured by hand", _table(("what", "by hand", "by photo", ""), body, numeric=(1, 2)))


def _hand_words(check: HandCheck) -> str:
    if check.agrees:
        return "agrees"
    slip = f", a likely slip: {escape(check.likely_slip)}" if check.likely_slip else ""
    return f"<strong>disagrees: measure again</strong>{slip}"


def fins(result: Result) -> str:
    """One column for each fin group, nose to tail."""
    groups = result.fins
    if not groups:
        return ""
    names = (
        ("root chord", "root_chord_mm", "mm"),
        ("tip chord", "tip_chord_mm", "mm"),
        ("span outside the body", "span_mm", "mm"),
        ("sweep, root to tip leading edge", "sweep_mm", "mm"),
        ("area of one fin", "area_mm2", "mm²"),
    )
    rows = [f"<tr>{_th('number of fins')}{''.join(_num(str(g.count)) for g in groups)}</tr>"]
    for words, name, unit in names:
        cells = "".join(_num(with_band(getattr(g, name), unit)) for g in groups)
        rows.append(f"<tr>{_th(words)}{cells}</tr>")
    heads = ("", *(f"group {i}" for i in range(1, len(groups) + 1))) if len(groups) > 1 else ("", "each fin")
    columns = tuple(range(1, len(groups) + 1))
    return _section("Fins", _table(heads, "\n".join(rows), numeric=columns))


def components(result: Result) -> str:
    """Each part's share of the normal force, and the body's pieces as a description."""
    parts = "\n".join(
        f"<tr>{_th(p.part)}{_num(fixed(p.cn_alpha_per_rad, 2))}{_num(_mm(p.x_mm))}</tr>" for p in result.parts
    )
    text = ""
    heads: tuple[str, ...]
    if parts:
        heads = ("part", "force for the air's angle, per radian", "acts at")
        caption = "Each part's share (normal-force slope), the air nearly from ahead, at low speed"
        text += _table(heads, parts, numeric=(1, 2), caption=caption)
    pieces = "\n".join(_piece_row(piece) for piece in result.pieces)
    if pieces:
        heads = ("piece", "from", "to", "diameter", "off by")
        caption = "The body in plain shapes, and how far each is off the outline, on which the numbers stand"
        text += _table(heads, pieces, numeric=(1, 2, 3, 4), caption=caption)
    return _section("Components", text) if text else ""


def methods(result: Result) -> str:
    """The same rocket by other methods, and what the method itself brings to the band."""
    found = result.methods
    if found is None or len(found.readings) < 2:
        return ""
    heads = ("worked out", "centre of pressure", "difference", "", "force per radian")
    text = _table(heads, _method_rows(found.readings), numeric=(1, 2, 3, 4), caption="At low speed")
    text += "\n".join(f"<p>{escape(words)}</p>" for words in found.words)
    if found.at_mach and found.mach is not None:
        caption = f"At Mach {exact(found.mach)}; the difference is to the number at low speed"
        text += _table(heads, _method_rows(found.at_mach), numeric=(1, 2, 3, 4), caption=caption)
    return _section("Other ways of working it out", text)


def _method_rows(readings: tuple[MethodReading, ...]) -> str:
    return "\n".join(
        f"<tr>{_th(r.name)}{_num(_mm(r.cp_x_mm))}{_num(sized(r.difference_mm, 'mm', 1, sign=True))}"
        f"{_num(signed(r.difference_calibers, 2) + ' calibers')}"
        f"{_num(fixed(r.cn_alpha_per_rad, 2))}</tr>"
        for r in readings
    )


def scale(result: Result) -> str:
    """How the photo was scaled."""
    if result.scale_kind is None:
        return ""
    names = ", ".join(r.label for r in result.drawing.references) if result.drawing else ""
    found = f"<p>Found in the picture: {escape(names)}.</p>" if names else ""
    return _section("Scale", f"<p>{escape(scale_words(result))}</p>{found}")


def band_sources(result: Result) -> str:
    """What the centre of pressure's band comes from, and what would shrink it most."""
    rows = "\n".join(_share_row(share) for share in result.shares)
    text = ""
    if rows:
        heads = ("what makes it unsure", "share", "by itself", "")
        caption = f"Centre of pressure {with_band(result.cp_x_mm, 'mm')}; shares of the band's square"
        text += _table(heads, rows, numeric=(1, 2), caption=caption)
    step = result.next_measurement
    if step:
        text += (
            f'<p class="next">What would make it surer most: <strong>{escape(step.action)}</strong> '
            f"({band_alone(step.cp_pm95_calibers_now, 'calibers')} to "
            f"{band_alone(step.cp_pm95_calibers_then, 'calibers')}).</p>"
        )
    return _section("What makes it unsure", text) if text else ""


def bullet_list(title: str, sentences) -> str:
    """A titled list of sentences."""
    if not sentences:
        return ""
    items = "\n".join(f"<li>{escape(sentence(str(s)))}</li>" for s in sentences)
    return _section(title, f"<ul>\n{items}\n</ul>")


def spoken(result: Result) -> str:
    """The chief numbers in one sentence, for those who can't see the picture."""
    said = [f"centre of pressure {with_band(result.cp_x_mm, 'mm')} from the nose tip"]
    if result.balance_mm is not None:
        said.append(f"balance point {with_band(result.balance_mm, 'mm')}")
    said.append(f"cut-out balance {with_band(result.cutout_centroid_mm, 'mm')}")
    said.append(f"length {with_band(result.length_mm, 'mm')}")
    return ", ".join(said) + "."


def _share_row(share: BandShare) -> str:
    percent = min(max(100 * share.share, 0.0), 100.0)
    source = _SOURCES.get(share.source, share.source)
    return (
        f"<tr>{_th(source)}{_num(f'{percent:.0f} %')}{_num(band_alone(share.cp_pm95_mm, 'mm'))}"
        f'<td class="bar"><span style="width:{percent:.0f}%"></span></td></tr>'
    )


def _mm(value: float) -> str:
    return sized(value, "mm", 1)


def _piece_row(piece: ProfilePiece) -> str:
    fore, aft = sized(piece.fore_diameter_mm, "mm", bare=True), sized(piece.aft_diameter_mm, "mm")
    diameter = aft if aft.startswith(f"{fore} ") else f"{fore} to {aft}"
    places = "".join(_num(_mm(place)) for place in (piece.from_mm, piece.to_mm))
    kind = _SHAPES.get(piece.kind, piece.kind)
    return f"<tr>{_th(kind)}{places}{_num(diameter)}{_num(_mm(piece.misfit_mm))}</tr>"


def _section(title: str, inside: str) -> str:
    return f"<section>\n<h2>{escape(title)}</h2>\n{inside}\n</section>"


def _table(heads, body: str, numeric=(), caption: str = "") -> str:
    cells = "".join(
        f'<th scope="col" class="{"num" if i in numeric else "words"}">{escape(h)}</th>' if h else "<td></td>"
        for i, h in enumerate(heads)
    )
    title = f"<caption>{escape(caption)}</caption>\n" if caption else ""
    return f"<table>\n{title}<thead><tr>{cells}</tr></thead>\n<tbody>\n{body}\n</tbody>\n</table>\n"


def _th(words: str) -> str:
    return f'<th scope="row">{escape(words)}</th>'


def _num(text: str) -> str:
    return f'<td class="num">{escape(text)}</td>'
