"""Photos as a telephone takes them."""

import io
import random

from PIL import Image

_GPS, _ORIENTATION, _REMARK = 0x8825, 0x0112, 0x010E


def a_photo(*, width: int = 400, height: int = 300, is_turned: bool = False, seed: int = 1) -> bytes:
    """A JPEG that tells where it was taken, a remark and, if turned, that it lies on its side."""
    grain = Image.frombytes("L", (64, 64), random.Random(seed).randbytes(64 * 64))
    picture = grain.resize((width, height)).convert("RGB")
    data = Image.Exif()
    data[_REMARK] = "secret remark"
    data[_ORIENTATION] = 6 if is_turned else 1
    data.get_ifd(_GPS)[1] = "N"
    sent = io.BytesIO()
    picture.save(sent, "JPEG", exif=data, quality=95)
    return sent.getvalue()


def place_of_photo(photo: bytes) -> dict[int, object]:
    """What the photo says about where it was taken."""
    with Image.open(io.BytesIO(photo)) as picture:
        return dict(picture.getexif().get_ifd(_GPS))
