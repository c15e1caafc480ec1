"""Archives: the same content is the same bytes, so that reading takes nothing on trust; and files written whole or not at all."""

import io
import stat
import zipfile
from collections.abc import Callable
from pathlib import Path

from ..faults import Fault, StudyError, cut, refusal

MOST_ALL, MOST_MEMBERS = 150_000_000, 500  # bytes in all; members
_PACK = "the .zip that casting-econ pack wrote"


def zipped(members: dict[str, bytes]) -> bytes:
    """An archive of members by name: sorted, of one date, none of them packed, so that the same members are the same bytes everywhere."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_STORED) as book:
        for name in sorted(members):
            item = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
            item.create_system, item.external_attr = 3, (stat.S_IFREG | 0o644) << 16
            book.writestr(item, members[name])
    return packed.getvalue()


def is_archive(data: bytes) -> bool:
    """Whether bytes are an archive, a packed file or a workbook of a usual kind, whatever their name."""
    marks = (b"PK\x03\x04", b"PK\x05\x06", b"\x1f\x8b", b"BZh", b"\xfd7zXZ", b"7z\xbc\xaf", b"Rar!", b"\x28\xb5\x2f\xfd")
    return data.startswith((*marks, b"\xd0\xcf\x11\xe0")) or data[257:262] == b"ustar"


def read_archive(path: Path) -> bytes:
    """The bytes of an archive file; StudyError for what is no file, cannot be read or is too large."""
    try:
        size, wrong, found = path.stat().st_size, "is no file", ""
        if size > MOST_ALL:
            wrong, found = "is too large", f"{size / 1e6:,.0f} MB, more than {MOST_ALL / 1e6:.0f}"
        elif path.is_file():
            return path.read_bytes()
    except (OSError, ValueError) as error:  # the latter for a path with a zero in it
        wrong, found = "cannot be read", str(getattr(error, "strerror", error))
    raise refusal(str(path).replace("\0", "?"), wrong, _PACK, found=found)


def unzipped(data: bytes, place: str, allowed: Callable[[str], bool]) -> dict[str, bytes]:
    """Members of an archive by name; `place` is for faults, `allowed` says whether a name may be in it.

    It is taken only if it is, byte for byte, what `zipped` makes of its members. So nothing is unpacked, and no link, lock, date, remark,
    second header, or byte between, over or behind members can be in it.

    StudyError with each name that may not be in it, or the first other reason for which it is refused.

    Examples
    --------
    >>> unzipped(zipped({"a.txt": b"1"}), "x.zip", lambda name: True)
    {'a.txt': b'1'}
    """

    def refused(wrong, found, right=_PACK):
        return refusal(place, wrong, right, found=found)

    if not data.startswith(b"PK\x03\x04"):
        raise refused("is no archive", "another kind of file" if data else "an empty file")
    if data.count(b"PK\x01\x02") > MOST_MEMBERS:  # the mark of each, counted before a library reads them all
        raise refused("holds too many members", f"more than {MOST_MEMBERS}")
    try:
        book = zipfile.ZipFile(io.BytesIO(data))
        items = book.infolist()
        right = "the members that casting-econ pack writes, and no other"
        if names := [cut(ascii(item.orig_filename)) for item in items if not allowed(item.orig_filename)]:
            raise StudyError([Fault(place, "is refused", right, column=n, found="an unknown file") for n in names])
        if any(item.compress_type != zipfile.ZIP_STORED for item in items):
            found = "packed members, as other programs and older versions write"
            raise refused("is refused", found, f"{_PACK}, or the study packed anew")
        # no more is read than there is, wherever members say that they lie
        members = {i.filename: book.read(i) for i in items} if sum(i.file_size for i in items) < len(data) else {}
    except (zipfile.BadZipFile, EOFError, ValueError, NotImplementedError, RuntimeError, OSError) as error:
        said = (str(error).splitlines() or [type(error).__name__])[0]
        raise refused("is no whole archive", ascii(said)[1:101], "the file as it was sent, whole") from None
    if zipped(members) != data:
        found = "another form than casting-econ pack writes: changed headers, or bytes that belong to no member"
        raise refused("is refused", found)
    return members
