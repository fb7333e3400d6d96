"""The ZIP archive of a job: what stands in it, written with checksums and read back against them.

=================  =====================================================================
manifest.json      what this is; `STATED` of it says where and when it was written
records.jsonl      every record as it stands in the book, its numbers counted anew from 1
NAME.csv           the tables of `records.columns`, for people and spreadsheets
samples.jsonl      the same tables as JSON Lines
results.jsonl
columns.csv        every column of every table with its unit and meaning
photos/HASH.jpg    the photos, named by their SHA-256
checksums.txt      SHA-256 of every other file; ``sha256sum -c checksums.txt`` checks it
=================  =====================================================================

Two archives of the same job hold the same bytes but for `STATED` in the manifest (and
the manifest's own line of the checksums), whichever book they were written from.
"""

import hashlib
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType

import msgspec

from readings import BadInputError
from records.columns import TABLES
from records.errors import told
from records.plain import to_json_text

KIND = "sparehand job"
VERSION = 1
STATED = ("book_uid", "exported_utc", "left_out_open", "program_version")
"""What the manifest says of the book and the moment, and not of the job."""

MANIFEST, RECORDS, CHECKSUMS, COLUMNS = (
    "manifest.json",
    "records.jsonl",
    "checksums.txt",
    "columns.csv",
)
AS_JSON_LINES = ("samples", "results")
_TEXTS = {
    MANIFEST,
    RECORDS,
    CHECKSUMS,
    COLUMNS,
    *(f"{name}.csv" for name in TABLES),
    *(f"{name}.jsonl" for name in AS_JSON_LINES),
}
_LARGEST_PIECE = 256 * 1024 * 1024
"""No photo, no line and no list of files is larger; what claims to be is not read."""
_CHUNK = 1 << 20
_EPOCH = (1980, 1, 1, 0, 0, 0)
"""The earliest time a ZIP can carry: files have no time of their own in an archive."""


class Manifest(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What an archive says of itself; see `STATED` for what is not of the job."""

    kind: str
    version: int
    job: str
    setups: int
    records: dict[str, int]
    photos: int
    photos_missing: list[str]
    left_out_open: int
    superseded_elsewhere: list[tuple[str, str]]
    book_uid: str
    exported_utc: str
    program_version: str


class ArchiveWriter:
    """Writes the files of an archive one after the other, then their checksums."""

    def __init__(self, archive: zipfile.ZipFile) -> None:
        self._archive = archive
        self._sums: dict[str, str] = {}

    def add(self, name: str, pieces: Iterable[bytes], *, packed: bool = True) -> None:
        """Add one file, as it comes."""
        info = zipfile.ZipInfo(name, _EPOCH)
        info.compress_type = zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
        info.external_attr = 0o644 << 16
        digest = hashlib.sha256()
        with self._archive.open(info, "w", force_zip64=True) as file:
            for piece in pieces:
                digest.update(piece)
                file.write(piece)
        self._sums[name] = digest.hexdigest()

    def add_text(self, name: str, lines: Iterable[str]) -> None:
        """Add one file of lines."""
        self.add(name, (line.encode() for line in lines))

    def seal(self, manifest: Manifest) -> None:
        """Add the manifest and the checksums; nothing comes after them."""
        text = msgspec.json.format(to_json_text(manifest), indent=1)
        self.add_text(MANIFEST, [text + "\n"])
        lines = [f"{digest}  {name}\n" for name, digest in sorted(self._sums.items())]
        self.add_text(CHECKSUMS, lines)


@contextmanager
def writing(target: Path) -> Iterator[ArchiveWriter]:
    """Write an archive; it appears under its name only when it is whole.

    Raises
    ------
    BookError
        If it cannot be written.
    """
    part = target.with_name(target.name + ".part")
    with told(target):
        target.parent.mkdir(parents=True, exist_ok=True)
        try:
            with zipfile.ZipFile(part, "w") as archive:
                yield ArchiveWriter(archive)
            part.replace(target)
        finally:
            part.unlink(missing_ok=True)


class ArchiveReader:
    """An archive whose files were all checked against its checksums when it was opened."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._archive = _opened(path)
        try:
            with self._told():
                self._check()
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> "ArchiveReader":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self._archive.close()

    def records(self) -> Iterator[bytes]:
        """Yield the lines of the records."""
        with self._told(), self._archive.open(RECORDS) as file:
            while line := file.readline(_LARGEST_PIECE):
                yield line

    def photo(self, name: str) -> bytes | None:
        """Return a photo's bytes, None where it is not in the archive."""
        if name not in self._archive.namelist():
            return None
        with self._told():
            return self._archive.read(name)

    def _check(self) -> None:
        listed = self._sums()
        there = [name for name in self._archive.namelist() if name != CHECKSUMS]
        if sorted(there) != sorted(listed):
            odd = sorted(set(there) ^ set(listed)) or ["a file twice"]
            raise _unfit(self.path, f"its list of checksums does not fit its files: {odd[0]}")
        for name in there:
            self._check_one(name, listed[name])
        self.manifest = self._manifest()

    def _sums(self) -> dict[str, str]:
        text = self._small(CHECKSUMS).decode()
        pairs = [line.split("  ", 1) for line in text.splitlines()]
        return {name: digest for digest, name in pairs}

    def _check_one(self, name: str, wanted: str) -> None:
        photo = name.startswith("photos/") and name.endswith(".jpg") and name.count("/") == 1
        if not photo and name not in _TEXTS:
            raise _unfit(self.path, f"it holds {name!r}, which belongs to no archive of a job")
        if photo and self._archive.getinfo(name).file_size > _LARGEST_PIECE:
            raise _unfit(self.path, f"{name} is too large for a photo")
        digest = hashlib.sha256()
        with self._archive.open(name) as file:
            while piece := file.read(_CHUNK):
                digest.update(piece)
        if digest.hexdigest() != wanted:
            raise _unfit(self.path, f"{name} is not as it was written")

    def _small(self, name: str) -> bytes:
        if self._archive.getinfo(name).file_size > _LARGEST_PIECE:
            raise _unfit(self.path, f"{name} is too large")
        return self._archive.read(name)

    def _manifest(self) -> Manifest:
        raw = self._small(MANIFEST)
        said = msgspec.json.decode(raw)
        if not isinstance(said, dict) or said.get("kind") != KIND:
            raise _unfit(self.path, "it does not say that it is the archive of a job")
        if said.get("version") != VERSION:
            msg = (
                f"{self.path} is an archive of version {said.get('version')}, and this program "
                f"knows version {VERSION}: install a newer Sparehand; nothing was imported."
            )
            raise BadInputError(msg)
        return msgspec.json.decode(raw, type=Manifest)

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            raise _unfit(self.path, error.strerror or str(error)) from error
        except _BROKEN as error:
            raise _unfit(self.path, str(error) or type(error).__name__) from error


_BROKEN = (
    zipfile.BadZipFile,
    zipfile.LargeZipFile,
    KeyError,
    ValueError,
    EOFError,
    RuntimeError,  # a password is wanted
    NotImplementedError,  # another way of packing
    zlib.error,
    msgspec.MsgspecError,
)


def _opened(path: Path) -> zipfile.ZipFile:
    try:
        return zipfile.ZipFile(path)
    except FileNotFoundError as error:
        msg = f"There is no file {path}: name the archive of a job that `records export` wrote."
        raise BadInputError(msg) from error
    except (OSError, *_BROKEN) as error:
        raise _unfit(path, str(error)) from error


def _unfit(path: Path, why: str) -> BadInputError:
    return BadInputError(
        f"{path} is no whole archive of a job ({why}): export it anew, or copy it once more; "
        "nothing was imported."
    )
