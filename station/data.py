"""Finds what a bench is set up with (`fixtures/`), in an installed wheel or an editable checkout."""

from importlib.resources import files
from pathlib import Path, PurePosixPath

from station.errors import BenchError


def data_folder() -> Path:
    """Return the folder `fixtures`.

    A wheel carries it as `station/fixtures`; in a checkout it stands beside `station`.

    Raises:
        BenchError: neither is there: the installation is damaged.
    """
    package = Path(str(files("station")))
    for folder in (package / "fixtures", package.parent / "fixtures"):
        if (folder / "dialects").is_dir():
            return folder
    raise BenchError(
        f"the station's own files: no folder 'fixtures' in {package} or beside it. Install the station again."
    )


def data_path(name: str) -> Path:
    """Return the path of `name`, such as `plans/IS-20.toml`, below the folder `fixtures`.

    Raises:
        BenchError: there is no such file or folder.
        ValueError: `name` is absolute or leads out of the folder.
    """
    wanted = PurePosixPath(name)
    if wanted.is_absolute() or ".." in wanted.parts:
        raise ValueError(f"a data path must stay below 'fixtures', as in plans/IS-20.toml; got {name!r}")
    path = data_folder().joinpath(*wanted.parts)
    if not path.exists():
        have = ", ".join(sorted(each.name for each in path.parent.glob("*"))) or "nothing"
        raise BenchError(f"the station's own files: asked for {name!r}; {path.parent.name} has {have}.")
    return path
