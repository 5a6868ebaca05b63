"""What a file is, told by its content and never by its name."""

from __future__ import annotations

from dataclasses import dataclass

from spoolwright.errors import InputError


@dataclass(frozen=True)
class FileKind:
    """A kind of file that the shop keeps."""

    media_type: str
    word: str
    shown: bool = False
    """A browser may show it in place; every other kind is only offered to be saved."""


JPEG = FileKind("image/jpeg", "JPEG photograph", True)
PNG = FileKind("image/png", "PNG image", True)
WEBP = FileKind("image/webp", "WebP image", True)
HEIC = FileKind("image/heic", "HEIC photograph")
TIFF = FileKind("image/tiff", "TIFF image")
PDF = FileKind("application/pdf", "PDF", True)
PARQUET = FileKind("application/vnd.apache.parquet", "Parquet recording")
ARROW = FileKind("application/vnd.apache.arrow.file", "Arrow recording")
MDF = FileKind("application/x-mdf", "MDF recording")
TDMS = FileKind("application/x-tdms", "TDMS recording")
ZIP = FileKind("application/zip", "ZIP archive or spreadsheet")
TEXT = FileKind("text/plain; charset=utf-8", "text or CSV")

PHOTOS = (JPEG, PNG, WEBP, HEIC)
PAPERS = (PDF, JPEG, PNG, WEBP, HEIC, TIFF)
RECORDINGS = (PARQUET, ARROW, MDF, TDMS, TEXT)
ANY = (*PAPERS, *RECORDINGS, ZIP)

_STARTS = (
    (b"\xff\xd8\xff", JPEG),
    (b"\x89PNG\r\n\x1a\n", PNG),
    (b"II*\x00", TIFF),
    (b"MM\x00*", TIFF),
    (b"%PDF-", PDF),
    (b"PAR1", PARQUET),
    (b"ARROW1", ARROW),
    (b"MDF     ", MDF),
    (b"UnFinMF ", MDF),
    (b"TDSm", TDMS),
    (b"PK\x03\x04", ZIP),
)
_HEIC_BRANDS = (b"heic", b"heix", b"mif1", b"msf1", b"hevc")


def kind_of(content: bytes) -> FileKind | None:
    """The kind of a file, or None when it is none that the shop keeps."""
    for start, kind in _STARTS:
        if content.startswith(start):
            return kind
    if content[:4] == b"RIFF" and content[8:12] == b"WEBP":
        return WEBP
    if content[4:8] == b"ftyp" and content[8:12] in _HEIC_BRANDS:
        return HEIC
    return TEXT if _is_text(content) else None


def _is_text(content: bytes) -> bool:
    if not content or b"\x00" in content:
        return False
    try:
        content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return False
    return True


def checked_kind(content: bytes, name: str, allowed: tuple[FileKind, ...], largest: int) -> FileKind:
    """The kind of a file that was sent, when the form takes it.

    Raises
    ------
    InputError
        The file is empty, too large, or of a kind that the form does not take.
    """
    if not content:
        raise InputError(f"the file '{name}' is empty.", mend="Choose it again.")
    if len(content) > largest:
        raise InputError(
            f"the file '{name}' has {len(content) / 1e6:.1f} MB, at most {largest / 1e6:.0f} MB are taken.",
            mend="Send a smaller one.",
        )
    kind = kind_of(content)
    if kind is None or kind not in allowed:
        words = ", ".join(k.word for k in allowed)
        raise InputError(
            f"the file '{name}' is {'a ' + kind.word if kind else 'of a kind that is not known here'} "
            "by its content.",
            mend=f"Taken here: {words}.",
        )
    return kind
