"""What a file is by its content, whatever it is called, and the form in which it is kept."""

import io
import warnings
from dataclasses import dataclass

from PIL import Image, ImageOps

from inventory.errors import SpanstockError
from jobs.models import StoredFile

LARGEST_BYTES = 20_000_000
# A good telephone takes 50 million pixels; a picture that claims more is made to fill memory.
MOST_PIXELS = 64_000_000
# What a reading on a scale or a scratch on a reel still shows at.
LONGEST_SIDE = 2560
JPEG_QUALITY = 85
PICTURES = ("JPEG", "PNG", "WEBP")
_PDF_START, _PDF_END = b"%PDF-", b"%%EOF"


class UnusableFile(SpanstockError):
    """The content of the file cannot be taken."""

    code = "unusable_file"


@dataclass(frozen=True)
class Content:
    """A file as it is kept; sides in pixels for pictures."""

    data: bytes
    media_type: str
    width: int | None = None
    height: int | None = None


def look_into(data: bytes) -> Content:
    """The content as it is kept: a picture upright, smaller and without hidden data; a paper as it is.

    Raises
    ------
    UnusableFile
        If it is empty, too large, neither a photo nor a PDF, or broken.
    """
    if not data:
        raise UnusableFile("The file is empty.")
    if len(data) > LARGEST_BYTES:
        raise UnusableFile(f"The file is larger than {LARGEST_BYTES // 1_000_000} MB.")
    if data.startswith(_PDF_START):
        return _look_into_paper(data)
    try:
        return _look_into_picture(data)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise UnusableFile(f"The picture has more than {MOST_PIXELS // 1_000_000} million pixels.") from None
    # Pillow's readers raise these on broken content, depending on the format and on where it breaks.
    except (OSError, ValueError, SyntaxError, EOFError, IndexError, KeyError, TypeError, MemoryError):
        raise UnusableFile(
            "The file is neither a whole photo (JPEG, PNG, WebP) nor a PDF."
            " Take the photo again, or save it as one of these."
        ) from None


def _look_into_paper(data: bytes) -> Content:
    # Cut off on the way it would open nowhere; what is in it is shown by the reader's own program.
    if _PDF_END not in data[-2048:]:
        raise UnusableFile("The PDF has no end; it was cut off on the way. Send it again.")
    return Content(data, StoredFile.Type.PDF)


def _look_into_picture(data: bytes) -> Content:
    with warnings.catch_warnings():
        warnings.simplefilter("error", Image.DecompressionBombWarning)
        with Image.open(io.BytesIO(data), formats=PICTURES) as looked_at:
            _refuse_bomb(looked_at)
            looked_at.verify()
        # A picture that was verified cannot be read any more.
        with Image.open(io.BytesIO(data), formats=PICTURES) as opened:
            is_drawing = opened.format == "PNG"
            opened.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
            upright = ImageOps.exif_transpose(opened)
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    kept = io.BytesIO()
    # Into a new picture: what stood beside the pixels (place, device, colour profile, remarks) stays behind.
    plain = Image.new("RGB", upright.size, "white")
    layer = upright.convert("RGBA") if upright.has_transparency_data else upright.convert("RGB")
    plain.paste(layer, mask=layer if layer.mode == "RGBA" else None)
    if is_drawing:
        plain.save(kept, "PNG", optimize=True)
    else:
        plain.save(kept, "JPEG", quality=JPEG_QUALITY, optimize=True)
    media_type = StoredFile.Type.PNG if is_drawing else StoredFile.Type.JPEG
    return Content(kept.getvalue(), media_type, *plain.size)


def _refuse_bomb(picture: Image.Image) -> None:
    if picture.width * picture.height > MOST_PIXELS:
        raise Image.DecompressionBombError
