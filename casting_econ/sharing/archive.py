"""Archives: written so that the same content is the same bytes, and read as if a stranger had made them."""

import io
import re
import stat
import struct
import unicodedata
import zipfile
import zlib
from collections.abc import Callable
from pathlib import Path

from ..faults import Fault, StudyError

__all__ = ["LONGEST_NAME", "MOST_ALL", "MOST_FILE", "is_archive", "read_archive", "unsafe_name", "unzipped", "zipped"]

MOST_FILE, MOST_ALL, MOST_MEMBERS, MOST_RATIO = 50_000_000, 150_000_000, 500, 200  # bytes unpacked; members; unpacked to packed
LONGEST_NAME = 150  # characters, which every system can unpack below a folder of its own
_FREE_BYTES = 1_000_000  # unpacked, below which no ratio is too high: a column of zeros packs well
_DEVICES = re.compile(r"(con|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³])(\.|$)", re.IGNORECASE)
_DAMAGED = (zipfile.BadZipFile, zlib.error, struct.error, EOFError, ValueError, NotImplementedError, RuntimeError, OSError)


def zipped(members: dict[str, bytes]) -> bytes:
    """An archive of members by name: sorted, all of one date, so that the same members are the same bytes."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as book:
        for name in sorted(members):
            item = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
            item.compress_type, item.create_system, item.external_attr = zipfile.ZIP_DEFLATED, 3, (stat.S_IFREG | 0o644) << 16
            book.writestr(item, members[name])
    return packed.getvalue()


def is_archive(data: bytes) -> bool:
    """Whether bytes are an archive or packed file of a usual kind, whatever their name."""
    marks = (b"PK\x03\x04", b"PK\x05\x06", b"\x1f\x8b", b"BZh", b"\xfd7zXZ", b"7z\xbc\xaf", b"Rar!", b"\x28\xb5\x2f\xfd")
    return data.startswith(marks) or data[257:262] == b"ustar"


def unsafe_name(name: str) -> str:
    """What is wrong with a member's name on some system, or nothing."""
    parts = name.split("/")
    if "\0" in name or not name.isprintable() or not name:
        return "a name with characters that do not show"
    if "\\" in name or ":" in name or name.startswith(("/", "~")) or ".." in parts:
        return "a name that leads outside the folder"
    if any(re.search(r'[<>"|?*]', part) or part.endswith((".", " ")) or part in ("", ".") for part in parts):
        return "a name that not every system can hold"
    if any(_DEVICES.match(part) for part in parts):
        return "the name of a device"
    if len(name) > LONGEST_NAME or len(name.encode("utf-8", "surrogatepass")) > 2 * LONGEST_NAME:
        return "a name that is too long"
    return ""


def read_archive(path: Path, allowed: Callable[[str], bool]) -> dict[str, bytes]:
    """Members of an archive file, after every check; nothing is written anywhere.

    Parameters
    ----------
    path : Path
    allowed : callable
        Whether a name may be in it.

    Returns
    -------
    dict of str to bytes

    Raises
    ------
    StudyError
        With everything for which it is refused.
    """
    right = "a file that casting-econ pack wrote"
    try:
        size = path.stat().st_size
        if not path.is_file():
            raise StudyError([Fault(file=str(path), wrong="is no file", right=right)])
        if size > MOST_ALL:
            raise StudyError([Fault(file=str(path), wrong="is too large", found=f"{size / 1e6:,.0f} MB", right="at most 150 MB")])
        data = path.read_bytes()
    except OSError as error:
        raise StudyError([Fault(file=str(path), wrong="cannot be read", found=str(error.strerror), right=right)]) from None
    except ValueError:  # a path with a zero in it
        raise StudyError([Fault(file=repr(str(path)), wrong="cannot be read", right=right)]) from None
    return unzipped(data, path.name, allowed)


def unzipped(data: bytes, place: str, allowed: Callable[[str], bool]) -> dict[str, bytes]:
    """Members of an archive; StudyError names everything for which it is refused.

    Nothing that the archive says of itself is believed: what it says must agree with itself, leave no byte unaccounted for,
    and be within the limits before anything is unpacked; then no member may be longer or shorter than it says.

    Examples
    --------
    >>> unzipped(zipped({"a.txt": b"1"}), "x.zip", lambda name: True)
    {'a.txt': b'1'}
    """
    whole = "the file as it was sent, whole"

    def refused(wrong, found="", right="an archive as casting-econ pack wrote it"):
        return StudyError([Fault(file=place, wrong=wrong, found=found, right=right)])

    if not data.startswith(b"PK\x03\x04"):
        raise refused(
            "is no archive", "another kind of file" if data else "an empty file", "the .zip that casting-econ pack wrote"
        )
    # the directory's end must be the file's end, without a comment: all else is cut short or has something hung on
    if data[-22:-18] != b"PK\x05\x06" or data[-2:] != b"\0\0":
        raise refused("is no whole archive", "its end is cut off, or something follows it", whole)
    disk, first_disk, here, count, size, start = struct.unpack("<4H2L", data[-18:-2])
    if count > MOST_MEMBERS or data[-42:-38] == b"PK\x06\x07":
        raise refused("holds too many members", f"{count:,}", f"at most {MOST_MEMBERS}")
    if disk or first_disk or here != count or start + size != len(data) - 22:
        raise refused("is no whole archive", "a directory of another size or place than it says", whole)
    try:
        book = zipfile.ZipFile(io.BytesIO(data))
        items = book.infolist()
    except UnicodeDecodeError:
        raise refused("has a member whose name cannot be read", "letters that are no UTF-8") from None
    except _DAMAGED as error:
        raise refused("is no whole archive", _said(error), whole) from None
    if len(items) != count:
        raise refused("is no whole archive", f"{count:,} members by its own count, {len(items):,} in it", whole)
    faults = [Fault(file=place, column=_shown(item), **fault) for item, fault in _refusals(items, start, allowed)]
    if faults:
        raise StudyError(faults)
    if sum(item.file_size for item in items) > MOST_ALL:
        raise refused("unpacks to too much", "", f"at most {MOST_ALL / 1e6:.0f} MB in all")
    members = {}
    for item in items:
        try:
            members[item.filename] = _unpacked(data, item)
        except _DAMAGED as error:
            raise refused("has a damaged member", f"{_shown(item)}: {_said(error)}", whole) from None
    return members


def _unpacked(data, item):
    """Content of a member, which its two headers, its size and its check sum must fit; ValueError and the like where they do not."""
    head = data[item.header_offset : item.header_offset + 30]
    name = item.orig_filename.encode("utf-8" if item.flag_bits & 0x800 else "cp437")
    own = (item.flag_bits, item.compress_type, item.CRC, item.compress_size, item.file_size, len(name), 0)
    mark, flags, kind, *sizes = struct.unpack("<4s2xHH4x3L2H", head)
    begin = item.header_offset + 30 + len(name)
    if mark != b"PK\x03\x04" or (flags, kind, *sizes) != own or data[begin - len(name) : begin] != name:
        raise ValueError("its two headers differ")
    content = data[begin : begin + item.compress_size]
    if kind == zipfile.ZIP_DEFLATED:
        stream = zlib.decompressobj(-15)
        content = stream.decompress(content, item.file_size + 1)  # one more, so that a longer one shows
        if not stream.eof or stream.unused_data:
            raise ValueError("it is longer or shorter than it says")
    if len(content) != item.file_size or zlib.crc32(content) != item.CRC:
        raise ValueError("its size or its check sum is another than it says")
    return content


def _refusals(items, start, allowed):
    """Members that are refused before anything is unpacked, with why; `start` is where the directory begins."""
    seen: dict[str, str] = {}
    own = "an archive as casting-econ pack wrote it"
    at = 0
    for item in sorted(items, key=lambda item: item.header_offset):  # one after the other, without a byte between
        name, kind = item.orig_filename, stat.S_IFMT(item.external_attr >> 16)
        one = unicodedata.normalize("NFKC", name).casefold()
        wrong, right = "is refused", "the members that casting-econ pack writes, and no other"
        found = unsafe_name(name)
        if not item.flag_bits & 0x800 and not name.isascii():
            wrong, found, right = "has a name that cannot be read", "letters that are not marked as UTF-8", "names in UTF-8"
        elif found:
            pass
        elif kind not in (0, stat.S_IFREG):
            found, right = {stat.S_IFLNK: "a link", stat.S_IFDIR: "a folder"}.get(kind, "a device"), "plain files only"
        elif item.flag_bits & 0x41:
            found, right = "locked with a password", "an archive without a password"
        elif item.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            found, right = "packed in an unusual way", own
        elif one in seen:
            found = "the same name twice" if seen[one] == name else f"a name that some systems take for {seen[one]!r}"
            right = "each name once"
        elif not allowed(name):
            found = "an unknown file"
        elif item.file_size > MOST_FILE:
            wrong, found, right = "unpacks to too much", f"{item.file_size:,} bytes", f"at most {MOST_FILE / 1e6:.0f} MB a member"
        elif item.file_size > _FREE_BYTES and item.file_size > MOST_RATIO * item.compress_size:
            wrong, right = "unpacks to too much", "records as a workshop keeps them"
            found = f"over {MOST_RATIO} times its packed size"
        elif item.header_offset != at or item.extra or item.comment:
            found, right = "members that lie over each other, or something between them", own
        if found:
            yield item, {"wrong": wrong, "found": found, "right": right}
        at = item.header_offset + 30 + len(name.encode("utf-8", "surrogatepass")) + item.compress_size
        seen.setdefault(one, name)
    if items and at != start:
        yield items[-1], {"wrong": "is refused", "found": "another size than it says, or something after it", "right": own}


def _shown(item):
    """A member's name, safe to print."""
    text = ascii(item.orig_filename)
    return text if len(text) <= 80 else f"{text[:77]}..."


def _said(error):
    return (str(error).splitlines() or [type(error).__name__])[0][:100]
