"""An example of each command, as its --help shows it: to be copied, with the file names changed."""

EXAMPLES = {
    "trace": ("digitize trace", "digitize trace photo.jpg", "digitize trace photo-digitized"),
    "measure": (
        "digitize measure photo.jpg --scale ruler=300mm --scale tube=33.2mm --behind 0mm --fins 4 --balance 390mm "
        "--mass 180g",
        'digitize measure photo.jpg --scale ruler=12in --scale "tube=1 5/8in" --behind 0in --fins 3 --units in',
    ),
    "ballast": ("digitize ballast photo-digitized", "digitize ballast photo-digitized --mass 180g --fill epoxy"),
    "swing": ("digitize swing photo-digitized", 'digitize swing photo-digitized --outcome pass --note "no wind"'),
    "templates": ("digitize templates photo-digitized --paper letter",),
    "sheet": ("digitize sheet --paper letter",),
    "solve": ("digitize solve photo-digitized/geometry.toml --balance 390mm --mass 180g --out solved",),
    "camera": ("digitize camera board-1.jpg board-2.jpg board-3.jpg board-4.jpg board-5.jpg --checker 9x6x25mm",),
}
"""Commands in the order in which --help lists them; each with its examples, one line each."""

GEOMETRY = """A geometry file, millimetres, x from the nose tip:

\b
[body]
profile_mm = [[0, 0], [60, 12], [300, 12]]   # x, radius
[[fins]]
count = 3
outline_mm = [[250, 12], [280, 52], [310, 52], [300, 12]]   # x, from the axis"""
_MORE = {"solve": GEOMETRY}


def epilog(name: str) -> str:
    """What stands at the end of the command's --help; a line that begins with \\b keeps the next ones as they are."""
    title = "Example:" if len(EXAMPLES[name]) == 1 else "Examples:"
    examples = "\n\n".join(f"\b\n  {line}" for line in EXAMPLES[name])
    return "\n\n".join([title, examples, *([_MORE[name]] if name in _MORE else [])])
