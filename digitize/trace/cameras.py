"""Calibrations that the page may ask for, by names of their own: no path goes out, and none comes in."""

import contextlib
from collections.abc import Iterator, Mapping
from pathlib import Path

from digitize.errors import Refusal, UsageRefusal
from digitize.files import replace_file
from digitize.photo.calibration import parse_camera, read_camera
from digitize.report.folder import check_out_dir

CAMERA = "camera"
"""Calibrations chosen on the page are kept in the results folder under this name."""


class Cameras(Mapping[str, Path]):
    """Name to file. chosen: the name of the one given last, not measured with yet. Not a value: it grows."""

    def __init__(self, folder: Path):
        self.folder = folder
        self.chosen: str | None = None
        self._files: dict[str, Path] = {}
        for path in sorted(folder.glob(f"{CAMERA}*.toml")):
            with contextlib.suppress(Refusal):
                read_camera(path)
                self.name_of(path)

    def __getitem__(self, name: str) -> Path:
        return self._files[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._files)

    def __len__(self) -> int:
        return len(self._files)

    def name_of(self, path: Path) -> str:
        """The name by which the page may ask for the calibration in this file."""
        path = Path(path).resolve()
        for name, known in self._files.items():
            if known == path:
                return name
        names = (path.name, *(f"{path.name} ({n})" for n in range(2, 10_000)))
        name = next(name for name in names if name not in self._files)
        self._files[name] = path
        return name

    def choose(self, path: Path) -> None:
        """The calibration to measure with unless the form says otherwise. Raises UnreadableRefusal."""
        read_camera(path)
        self.chosen = self.name_of(path)

    def keep(self, content: bytes) -> str:
        """Keep a calibration's file in the results folder; gives its name. Raises Refusal, and then it is not kept."""
        parse_camera(content, "the file")
        check_out_dir(self.folder)
        names = (f"{CAMERA}.toml", *(f"{CAMERA}-{n}.toml" for n in range(2, 10_000)))
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            free = (p for name in names if not (p := self.folder / name).exists() or _holds(p, content))
            path = next(free)
            if not path.exists():
                replace_file(path, content)
        except OSError as error:
            raise unwritable(self.folder, error) from None
        self.chosen = self.name_of(path)
        return self.chosen

    def as_option(self, texts: dict) -> dict:
        """The form's texts, a calibration by its file."""
        return texts if "camera" not in texts else {**texts, "camera": str(self[texts["camera"]])}

    def as_form(self, texts: dict) -> dict:
        """The options' texts, a calibration by its name."""
        return texts if "camera" not in texts else {**texts, "camera": self.name_of(texts["camera"])}


def unwritable(folder: Path, error: OSError) -> UsageRefusal:
    reason = (error.strerror or "error").lower()
    return UsageRefusal(f"{folder}: can't be written ({reason})", "choose another with --out")


def _holds(path: Path, content: bytes) -> bool:
    return path.is_file() and path.read_bytes() == content
