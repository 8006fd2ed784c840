"""The --shots file: rockets, each with its photos, and the options that differ between them.

    camera = "camera.toml"            # options above all rockets hold for all

    [[rocket]]
    name = "bracken"
    fins = "3"
    balance = "250mm"
    scale = ["tube=41.6mm"]
    [[rocket.photo]]
    file = "bracken-1.jpg"            # from the folder of this file
    [[rocket.photo]]
    file = "bracken-2.jpg"
    pose = "30deg"
    scale = ["a4"]

Options are called and written as on the command line. What is said nearest the photo counts; scale, hand,
motor and add add up.
"""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from digitize.errors import UsageRefusal
from digitize.files import read_toml
from digitize.request.balance_options import check_balance_known
from digitize.request.option_table import OPTIONS, PHOTO, ROCKET, Option, values
from digitize.request.options import MeasureOptions, check_together

_OF_PHOTO = tuple(option for option in OPTIONS.values() if option.about == PHOTO)
_OF_ROCKET = tuple(option for option in OPTIONS.values() if option.about in (PHOTO, ROCKET))


def photos_of(options: MeasureOptions) -> tuple[MeasureOptions, ...]:
    """The options of each photo of one rocket, all as said on the command line. Raises UsageRefusal."""
    _no_photo_twice(options.photo, "")
    if options.balance_at_px is not None and len(options.photo) > 1:
        raise UsageRefusal(
            "--balance-at: which of the photos is the pixel of?", "list the photos in a --shots file, with balance-at"
        )
    _check_balance([options])
    return tuple(replace(options, photo=(path,)) for path in options.photo)


def read_shots(options: MeasureOptions) -> list[tuple[MeasureOptions, ...]]:
    """For each rocket of options.shots the options of each of its photos; the rest of `options` is for all.

    Raises UnreadableRefusal if it is no TOML file, UsageRefusal naming what in it is not understood.
    """
    path = options.shots
    assert path is not None  # who has no list asks photos_of
    data = read_toml(path, "list of rockets and photos")
    base = _over(replace(options, shots=None), data, _OF_ROCKET, ("rocket",), path.parent, f"{path}")
    rockets, names = [], set()
    for number, rocket in enumerate(_tables(data, "rocket", f"{path}"), 1):
        where = f"{path}, rocket {number}"
        said = _over(base, rocket, _OF_ROCKET, ("name", "photo"), path.parent, where)
        shots = []
        for k, photo in enumerate(_tables(rocket, "photo", where), 1):
            file = path.parent / _text(photo.get("file"), "file", f"{where}, photo {k}")
            here = f"{where}, photo {k} ({file.name})"
            shots.append(replace(_over(said, photo, _OF_PHOTO, ("file",), path.parent, here), photo=(file,)))
            _checked(shots[-1], here)
        _no_photo_twice([shot.photo[0] for shot in shots], f"{where}: ")
        try:
            _check_balance(shots)
        except UsageRefusal as refusal:
            raise UsageRefusal(f"{where}: {refusal.what}", refusal.remedy) from None
        name = rocket.get("name")
        name = shots[0].photo[0].stem if name is None else _text(name, "name", where)
        if folder_name(name) in names:
            raise UsageRefusal(f"{where}: another rocket is called {name!r} too", "give each its own name")
        names.add(folder_name(name))
        rockets.append(tuple(replace(shot, name=name) for shot in shots))
    return rockets


def folder_name(name: str) -> str:
    """A rocket's name as the name of a folder, on any system."""
    kept = "".join(sign if sign.isalnum() or sign in "-_" else "-" for sign in name).strip("-")
    return kept[:80].lower() or "rocket"


def _tables(data: dict, key: str, where: str) -> list[dict]:
    tables = data.get(key)
    if not isinstance(tables, list) or not tables or not all(isinstance(table, dict) for table in tables):
        heading = "[[rocket]]" if key == "rocket" else "[[rocket.photo]]"
        raise UsageRefusal(f"{where}: it has no {heading}", f"start each {key} with {heading}")
    return tables


def _over(
    options: MeasureOptions, said: dict, allowed: Sequence[Option], also: tuple, folder: Path, where: str
) -> MeasureOptions:
    """The options with what is said in one table laid over them."""
    keys = [option.key for option in allowed]
    for key in said:
        if key not in (*keys, *also):
            raise UsageRefusal(f"{where}: {key!r} is not known", f"use {', '.join((*also, *keys))}")
    typed = {option.name: _typed(said[option.key], option, folder, where) for option in allowed if option.key in said}
    try:
        changes = values(typed)  # checked together only when all is laid over
    except UsageRefusal as refusal:
        raise UsageRefusal(f"{where}: {refusal.what}", refusal.remedy) from None
    for field in (option.field for option in allowed if option.repeated and option.name in typed):
        changes[field] = (*getattr(options, field), *changes[field])
    return replace(options, **changes)


def _typed(value, option: Option, folder: Path, where: str):
    """One value as the command line would have brought it."""
    if option.repeated:
        return [_text(each, option.key, where) for each in (value if isinstance(value, list) else [value])]
    if option.kind is Path:
        return folder / _text(value, option.key, where)
    if option.whole and isinstance(value, int) and not isinstance(value, bool) and value >= 0:
        return option.kind(value)
    if option.kind is int:
        raise UsageRefusal(f"{where}: {option.key} is not a whole number", f"write it as {option.key} = 1")
    return _text(value, option.key, where)


def _text(value, key: str, where: str) -> str:
    if not isinstance(value, str) or not value or "\0" in value:
        raise UsageRefusal(f"{where}: {key} is not text", f"write it in quotes, as on the command line: {key}")
    return value


def _checked(options: MeasureOptions, where: str) -> None:
    try:
        check_together(options)
    except UsageRefusal as refusal:
        raise UsageRefusal(f"{where}: {refusal.what}", refusal.remedy) from None


def _check_balance(shots) -> None:
    if all(shot.balance_mm is None and shot.balance_at_px is None for shot in shots):
        check_balance_known(shots[0].loading())


def _no_photo_twice(paths, where: str) -> None:
    seen = set()
    for path in paths:
        if path.resolve() in seen:
            raise UsageRefusal(
                f"{where}{path} was given twice", "Give each photo once: the same one again tells nothing new"
            )
        seen.add(path.resolve())
