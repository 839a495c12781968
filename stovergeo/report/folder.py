"""The outputs folder: nothing half-written, nothing lost, never a mix of two runs.

Everything a run writes goes into a hidden part folder inside the outputs folder, so that
it is on the same disk as its final place. When all of it is written and verified, a mark
is set and every file is renamed. A run that dies before the mark leaves a part folder that
the next run removes; one that dies after it leaves a part folder whose renames the next run
finishes, and so does one whose renaming fails half-way. A live run holds a lock on its part
folder, so the two can be told apart.
"""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from stovergeo.core.errors import InputError, Report

try:
    import fcntl
except ImportError:  # Windows, where an open file cannot be removed: that alone tells a live run
    fcntl = None  # type: ignore[assignment]

PREFIX = ".stovergeo-"
SUFFIX = ".part"
_ALIVE = "alive"
_NEARLY_FULL_BYTES = 1_000_000
_WHOLE = "whole"  # set when every file stands verified in the part folder


def prepare_folder(
    folder: Path, names: tuple[str, ...], overwrite: bool, report: Report, *, leave: bool = True
) -> None:
    """Check that results may be written, and clear away dead runs' left-overs.

    Parameters
    ----------
    folder : Path
        Made if it does not exist.
    names : tuple of str
        Final names of the results.
    overwrite : bool
        Whether results that stand there may be replaced.
    report : Report
        Gains what was cleaned (`out.stale`, `out.resumed`).
    leave : bool
        Whether a folder made here stays: False for a check before computing, so that a run
        that is refused later has left nothing behind.

    Raises
    ------
    InputError
        ``out.not_folder``, ``out.permission`` or ``out.exists``.
    """
    where = f"folder {folder}"
    missing = [f for f in (folder, *folder.parents) if not f.exists()]
    if folder.is_symlink() or (folder.exists() and not folder.is_dir()):
        raise report.refuse("out.not_folder", where, "It is a link or a file.")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(dir=folder, prefix=PREFIX, suffix=SUFFIX):
            pass
    except OSError as error:
        raise _refusal(error, where, report) from None
    _clear_dead_runs(folder, report)
    _refuse_existing(folder, names, overwrite, report)
    if not leave:
        for made in missing:
            with contextlib.suppress(OSError):  # another run has put something in it
                made.rmdir()


def _refuse_existing(folder: Path, names: tuple[str, ...], overwrite: bool, report: Report) -> None:
    for name in names:
        final = folder / name
        if final.is_symlink() or (final.exists() and not final.is_file()):
            raise report.refuse("out.not_folder", f"{final}", "It is a link or a folder, where a result must go.")
    standing = [name for name in names if (folder / name).exists()]
    if standing and not overwrite:
        raise report.refuse("out.exists", f"folder {folder}", f"It holds {', '.join(standing)}.")


def _clear_dead_runs(folder: Path, report: Report) -> None:
    where = f"folder {folder}"
    with _folder_lock(folder, wait=True):
        for part in sorted(folder.glob(f"{PREFIX}*{SUFFIX}")):
            if part.is_symlink() or not part.is_dir():
                part.unlink()
                report.add("out.stale", where, f"Removed {part.name}.")
            elif not _is_alive(part):
                if (part / _WHOLE).exists():
                    _rename_all(part, folder)
                    report.add("out.resumed", where, f"Finished what {part.name} had begun.")
                else:
                    report.add("out.stale", where, f"Removed {part.name} with {len(list(part.iterdir()))} files.")
                shutil.rmtree(part, ignore_errors=True)


def _is_alive(part: Path) -> bool:
    mark = part / _ALIVE
    if fcntl is None:
        try:
            mark.unlink(missing_ok=True)
        except OSError:
            return True
        return False
    try:
        with mark.open("rb") as held:
            return not _try_lock(held)
    except FileNotFoundError:
        return False


@contextlib.contextmanager
def _folder_lock(folder: Path, *, wait: bool) -> Iterator[bool]:
    """Hold the folder itself locked, so that only one run at a time makes, clears or renames in it."""
    if fcntl is None:
        yield True
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        yield _try_lock(handle, wait=wait)
    finally:
        os.close(handle)


def _try_lock(file: IO[bytes] | int, *, wait: bool = False) -> bool:
    if fcntl is None:
        return True
    try:
        fcntl.flock(file, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
    except OSError as error:
        if error.errno in (errno.EWOULDBLOCK, errno.EACCES):
            return False
        raise
    return True


@contextlib.contextmanager
def part_folder(folder: Path, report: Report) -> Iterator[Path]:
    """Give a part folder to write into; it is gone when the block ends, however it ends.

    Raises
    ------
    InputError
        ``out.disk_full``, ``out.permission`` or ``out.failed`` in place of an `OSError`.
    """
    part: Path | None = None
    stay = contextlib.ExitStack()
    try:
        with _folder_lock(folder, wait=True):  # so that no other run takes a folder not yet marked alive for dead
            part = Path(tempfile.mkdtemp(dir=folder, prefix=PREFIX, suffix=SUFFIX))
            alive = stay.enter_context((part / _ALIVE).open("wb"))
            _try_lock(alive)
        yield part
    except OSError as error:
        raise _refusal(error, f"folder {folder}", report, shutil.disk_usage(folder).free) from None
    finally:
        stay.close()
        # with the mark still in it the renaming was broken off, and the next run finishes it
        if part is not None and not (part / _WHOLE).exists():
            shutil.rmtree(part, ignore_errors=True)


def publish(part: Path, folder: Path, names: tuple[str, ...], overwrite: bool, report: Report) -> None:
    """Give every file of a part folder its final name, in the order of `names`.

    Raises
    ------
    InputError
        ``out.busy`` when another run is doing the same now; ``out.exists`` when results
        have come to stand there since the run began and may not be replaced.
    """
    for name in names:
        _to_disk(part / name)
    with _folder_lock(folder, wait=False) as ours:
        if not ours:
            raise report.refuse("out.busy", f"folder {folder}", "It gives its results their names at this moment.")
        _refuse_existing(folder, names, overwrite, report)
        mark = part / f"{_WHOLE}{SUFFIX}"
        mark.write_text("\n".join(names), "utf-8")
        _to_disk(mark)
        _refuse_held_open(folder, names, report)
        mark.replace(part / _WHOLE)  # the mark itself must never be seen half-written
        _rename_all(part, folder)
        (part / _WHOLE).unlink()  # nothing is left to finish


def _refuse_held_open(folder: Path, names: tuple[str, ...], report: Report) -> None:
    """Refuse before the first renaming where a program holds an old result so that it cannot be replaced."""
    for name in names:
        if (folder / name).exists():
            try:
                with (folder / name).open("r+b"):
                    pass
            except PermissionError as error:
                what = f"It cannot be replaced: {error.strerror}."
                cure = "Close the program that has it open, or choose another folder with `--out`."
                raise report.refuse("out.failed", f"{folder / name}", what, cure) from None


def _rename_all(part: Path, folder: Path) -> None:
    for name in (part / _WHOLE).read_text("utf-8").splitlines():
        source, final = part / name, folder / name
        if Path(name).name != name:
            raise ValueError(f"{name!r} is not the name of a file in its own folder")
        if source.exists():  # those renamed before a kill are in place already
            source.replace(final)
    _to_disk(folder)


def _to_disk(path: Path) -> None:
    if path.is_dir() and os.name == "nt":
        return  # folders cannot be flushed there
    handle = os.open(path, os.O_RDONLY if path.is_dir() else os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _refusal(error: OSError, where: str, report: Report, free: int = _NEARLY_FULL_BYTES) -> InputError:
    # the file libraries do not pass the system's reason on; a disk with no room left is one
    if error.errno in (errno.ENOSPC, errno.EDQUOT) or (error.errno is None and free < _NEARLY_FULL_BYTES):
        return report.refuse("out.disk_full", where, "There is no room left on the disk.")
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return report.refuse("out.permission", where, f"{error.strerror}.")
    if error.errno == errno.ENOTDIR:
        return report.refuse("out.not_folder", where, "A part of the path is a file.")
    return report.refuse("out.failed", where, f"{error.strerror or error}.")
