"""The card for the field: one page with numbers, steps and cautions; and how an outcome is read with the margin."""

import textwrap
from html import escape

from digitize.report.plain_page import bullets, page, paragraphs, section, steps
from digitize.report.text import sentence
from digitize.units.rounding import at_least, counted, fixed, sized
from digitize.units.sentences import in_its_units, in_words

OFFICER = "The range safety officer decides."
CAUTIONS = (
    "Open field, no wind to speak of, nobody in the circle: {clear} clear all round, as a rocket off its string "
    "flies on straight ahead. Never near people, cars, glass or wires.",
    "Eye protection and a glove for the one who swings; everybody else watches from outside.",
    "No igniter in the motor, ever. Best a burnt-out case filled to the same mass and balance.",
    "Hang the test weight on knot and tape first. Look at them again after every swing.",
    "Stop if the arm tires, the tape creeps or anybody walks in: let it slow down, never catch it.",
)
FOLKLORE = (
    "From memory, without a source: strings of 2 to 3 m are usual; a knot can cost half a string's strength; a failed "
    "swing is no proof that a rocket is unstable.",
    "NASA's Rockets Educator Guide (EG-2011-11-223-KSC, p. 118): nose leading, ready; tumbling, add nose weight or "
    "larger fins.",
    "The angles, pulls and what a pass is worth are worked out here from the rocket's own numbers, a uniform rod's "
    "inertia taken; there is no outside check of them.",
)

_STYLE = """
@page { size: auto; margin: 10mm; }
.big { display: flex; flex-wrap: wrap; gap: .5rem; margin: .6rem 0; }
.big div { border: 1.5px solid #161b26; padding: .25rem .6rem; flex: 1 1 7rem; }
.big b { display: block; font-size: 1.35rem; line-height: 1.2; }
.two { display: flex; gap: 1.4rem; align-items: flex-start; }
.two > div { flex: 1 1 0; }
.two svg { width: 13rem; max-width: 100%; height: auto; }
ol { margin: .3rem 0; padding-left: 1.3rem; }
.boxes span { display: inline-block; width: .9rem; height: .9rem; border: 1.5px solid #161b26;
  margin: 0 .4rem -.1rem 1.2rem; }
.line { display: inline-block; border-bottom: 1px solid #161b26; width: 16rem; }
h2 { margin: 1rem 0 .2rem; padding-top: .25rem; }
@media print { body { font-size: 10.2pt; line-height: 1.36; } h2 { margin: 2.5mm 0 .5mm; font-size: 11pt; }
  h1 { font-size: 16pt; } p, ul, ol, li { max-width: none; margin-top: .3mm; margin-bottom: .3mm; }
  .two svg { width: 58mm; } }
@media (max-width: 40rem) { .two { display: block; } }
"""


@in_its_units
def card_html(plan: dict) -> str:
    """The whole page, black on white, made to print on one A4 or Letter sheet."""
    cautions = [words.format(clear=sized(plan["clear_m"], "m", 0)) for words in CAUTIONS]
    both = (
        f'<div class="two"><div>{section("Steps", steps(step_words(plan)))}</div>'
        f'<div style="flex: 0 0 auto">{circle_svg(plan)}</div></div>'
    )
    outcome = (
        '<p class="boxes">Outcome: <span></span>pass <span></span>fail <span></span>unclear '
        '&nbsp; Note: <i class="line"></i></p>'
    )
    return page(
        f"{plan['name']}: swing test",
        plan["name"],
        "swing test on a string, before the first flight",
        [
            *(f"<p><strong>{escape(words)}</strong></p>" for words in first_words(plan)),
            _big_numbers(plan),
            both,
            section("Cautions", bullets(cautions)),
            section("What you may see", bullets([*watch_words(plan), *outcome_words(plan)]) + outcome),
            section("Where this comes from", bullets([in_words(words) for words in FOLKLORE])),
            paragraphs(OFFICER),
        ],
        _STYLE,
    )


def _big_numbers(plan: dict) -> str:
    cells = (
        ("tie at", sized(plan["balance_mm"], "mm", 0), "from the nose tip"),
        ("string", sized(plan["string_m"], "m", 1), "hand to body"),
        ("turns a minute", fixed(plan["turns_per_min"], 0), f"one in {fixed(60 / plan['turns_per_min'], 1)} s"),
        ("speed", sized(plan["speed_mps"], "m/s", 0), sized(3.6 * plan["speed_mps"], "km/h", 0)),
        ("pull", sized(plan["pull_n"], "N", 1), f"string for {at_least(plan['strength_n'], 'N', 0)} or more"),
        ("test weight", at_least(plan["proof_kg"], "kg", 1), "hung on the knot first"),
    )
    inside = "".join(f"<div>{escape(a)}<b>{escape(b)}</b>{escape(c)}</div>" for a, b, c in cells)
    return f'<div class="big">{inside}</div>'


def step_words(plan: dict) -> list[str]:
    """What to do, in order."""
    state = "" if plan["state"] in ("ready to fly", "as said") else f"{plan['state']}, "
    return [
        f"Make it ready to fly ({state}{sized(round(plan['mass_g'], 1), 'g')}): parachute and wadding in, the "
        "nose taped on.",
        f"Tie the string round the body at the balance point, {sized(plan['balance_mm'], 'mm', 0)} from the nose tip: "
        f"it must hang level. Tape it so that it can't slide. A knot {sized(1, 'mm', 0)} off turns the nose by about "
        f"{counted(plan['knot_deg'], 'degree')}.",
        f"Hang {at_least(plan['proof_kg'], 'kg', 1)} on knot and tape for a moment.",
        f"Clear {sized(plan['clear_m'], 'm', 0)} all round.",
        "Swing it level overhead, nose first, on a short string, and let the string out as it flies.",
        f"Keep one turn in {fixed(60 / plan['turns_per_min'], 1)} s for five turns or more. Faster tells no more, a "
        "longer string does.",
        "Watch nose and tail, both sideways and up and down. Then let it slow down by itself.",
    ]


def watch_words(plan: dict) -> list[str]:
    """What the curved path does to a good rocket, and what the string and the turning do to a bad one."""
    out = plan["nose_out_deg"]
    aside = "By the numbers it is not stable, and has no steady angle."
    if out is not None:
        aside = f"A nose that points up to {counted(max(out, 1), 'degree')} out of the circle is no fault."
    found = [
        "Its path is curved: between nose and tail the air's direction differs by "
        f"{counted(plan['spread_deg'], 'degree')}, more on a shorter string. {aside}",
        "Sideways the string itself holds it, stable or not, "
        f"{fixed(plan['string_share'], 1)} times as firmly as the air would with one caliber: watch up and down above "
        f"all. There the turning would hold a rocket {fixed(plan['hidden_calibers'], 1)} calibers unstable, so a pass "
        "by itself proves little.",
    ]
    return found


def first_words(plan: dict) -> list[str]:
    """What to know before anything of the plan: why not to swing it, or not to go by it."""
    found = []
    if plan["verdict"] == "do not fly":
        found.append("The margin says do not fly: put that right before you swing it.")
    if not plan["meaningful"]:
        found.append(
            "This rocket is too long or too heavy for this string: the test says next to nothing. Go by the margin."
        )
    if plan.get("question"):
        found.append(plan["question"])
    return found


def outcome_words(plan: dict) -> list[str]:
    """Each outcome with the margin as computed."""
    return [f"{outcome.capitalize()}: {reading(outcome, plan['verdict'])}" for outcome in ("pass", "fail", "unclear")]


def reading(outcome: str, verdict: str) -> str:
    """How an outcome is read together with the verdict by the margin."""
    good = verdict == "fly"
    if outcome == "pass":
        if good:
            return "swing and margin agree. Show both to the range safety officer."
        return f"the margin says {verdict}, and the margin counts: a pass does not make up for it. Find out why."
    if outcome == "fail":
        if good:
            return (
                "the margin says fly, the swing does not. Check the knot at the balance point, the string's "
                "length, mass, balance and fins; swing again on a longer string. Still failing: do not fly."
            )
        return "swing and margin agree. Do not fly. Add nose weight or larger fins, and begin again."
    return f"it tells nothing; the margin says {verdict}. Swing again in calm air, on a longer string."


def swing_section(outcomes: list[dict[str, str]], level: str) -> str:
    """The report's section: every outcome recorded, and how the last is read beside the verdict's level. Nothing where
    none was."""
    if not outcomes:
        return ""
    listed = [
        f"{item['date']}: {item['outcome']}, when the verdict was {item['verdict']}"
        + (f" and the margin {item['margin']}" if item["margin"] else "")
        + (f". {sentence(item['note'])}" if item["note"] else "")
        for item in outcomes
    ]
    last = outcomes[-1]["outcome"]
    read = sentence(f"{last.capitalize()}: {reading(last, level)}")
    return section("Swing test", bullets(listed) + paragraphs(read))


def circle_svg(plan: dict) -> str:
    """The circle from above, with the rocket nose first and the air's direction at nose and tail."""
    return """<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 260 200" role="img" font-family="sans-serif"
 font-size="11" fill="none" stroke="#161b26">
<title>The circle from above: the rocket flies along the tangent; the air meets nose and tail from two sides</title>
<path d="M16 128 A127 127 0 0 1 244 128" stroke-dasharray="5 4"/>
<circle cx="130" cy="185" r="6" fill="#161b26"/><text x="142" y="189" stroke="none" fill="#161b26">hand</text>
<path d="M130 185 V66"/><text x="136" y="130" stroke="none" fill="#161b26">STRING</text>
<path d="M70 58 Q76 52 90 52 H176 V64 H90 Q76 64 70 58 Z" fill="#fff" stroke-width="1.6"/>
<path d="M156 52 L180 36 V52 Z M156 64 L180 80 V64 Z" fill="#fff" stroke-width="1.6"/>
<path d="M26 74 L62 62 M53 60 L62 62 L56 69" stroke-width="1.4"/>
<path d="M192 50 L228 62 M221 55 L228 62 L219 65" stroke-width="1.4"/>
<text x="2" y="48" stroke="none" fill="#161b26">air at the nose</text>
<text x="184" y="30" stroke="none" fill="#161b26">air at the tail</text>
<text x="92" y="30" stroke="none" fill="#161b26">flies this way</text><path d="M86 26 H56 M64 21 L56 26 L64 31"/>
</svg>""".replace("STRING", sized(plan["string_m"], "m", 1))


@in_its_units
def swing_summary(plan: dict | None, record: dict, paths: list) -> str:
    """What the command prints, 80 columns. plan: the one just made, if any; what lies in the file may be older."""
    lines: list[str] = []
    if plan is not None:
        for words in first_words(plan):
            lines += textwrap.wrap(f"{plan['name']}: {words}", 80, subsequent_indent="  ")
        lines += [""] * bool(lines)
        lines += textwrap.wrap(
            f"{plan['name']}: swing test on {sized(plan['string_m'], 'm', 1)} of string, one turn in "
            f"{fixed(60 / plan['turns_per_min'], 1)} s ({fixed(plan['turns_per_min'], 0)} a minute, "
            f"{sized(plan['speed_mps'], 'm/s', 0)})",
            80,
            subsequent_indent="  ",
        )
        rows = (
            ("tie at", f"{sized(plan['balance_mm'], 'mm', 0)} from the nose tip, {plan['state']}"),
            ("pull", f"{sized(plan['pull_n'], 'N', 1)}; string and knot for {at_least(plan['strength_n'], 'N', 0)}, "
             f"test weight {at_least(plan['proof_kg'], 'kg', 1)}"),
            ("clear", f"{sized(plan['clear_m'], 'm', 0)} all round"),
        )  # fmt: skip
        lines.append("")
        for label, value in rows:
            lines += textwrap.wrap(value, 80, initial_indent=f"{label:<20}", subsequent_indent=" " * 20)
        lines.append("")
        for words in watch_words(plan):
            lines += textwrap.wrap(words, 80, initial_indent="  ", subsequent_indent="  ")
    if record["outcomes"]:
        last = record["outcomes"][-1]
        words = f"recorded: {last['outcome']}. {sentence(reading(last['outcome'], last['verdict']))}"
        lines += [*([""] if lines else []), *textwrap.wrap(words, 80, subsequent_indent="  ")]
    lines += ["", *(f"{label:<20}{path}" for label, path in paths), "", OFFICER]
    return "\n".join(lines) + "\n"
