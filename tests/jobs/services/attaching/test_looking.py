"""What is taken as a photo or a paper, by its content; what is kept of it."""

import io
import struct
import zlib

import pytest
from PIL import Image

from jobs.services.attaching.looking import LARGEST_BYTES, LONGEST_SIDE, UnusableFile, look_into
from tests.factories.pictures import a_photo, place_of_photo


def test_photo_is_kept_small_upright_and_without_what_the_camera_wrote() -> None:
    sent = a_photo(width=4000, height=1000, is_turned=True)
    assert place_of_photo(sent)
    kept = look_into(sent)
    assert (kept.media_type, kept.width, kept.height) == ("image/jpeg", 640, LONGEST_SIDE)
    assert len(kept.data) < len(sent)
    with Image.open(io.BytesIO(kept.data)) as picture:
        assert not picture.getexif()
        assert set(picture.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    assert b"secret remark" in sent
    assert b"secret remark" not in kept.data


@pytest.mark.parametrize(
    ("form", "mode", "media_type"),
    [
        ("PNG", "RGBA", "image/png"),
        ("PNG", "P", "image/png"),
        ("WEBP", "RGB", "image/jpeg"),
        ("JPEG", "L", "image/jpeg"),
    ],
)
def test_picture_of_every_form_is_taken(form: str, mode: str, media_type: str) -> None:
    sent = io.BytesIO()
    Image.new(mode, (30, 20)).save(sent, form)
    kept = look_into(sent.getvalue())
    assert (kept.media_type, kept.width, kept.height) == (media_type, 30, 20)


def test_same_content_is_kept_the_same_each_time() -> None:
    assert look_into(a_photo()).data == look_into(a_photo()).data


def test_paper_is_kept_as_it_is() -> None:
    sent = b"%PDF-1.7\n...\n%%EOF\n"
    kept = look_into(sent)
    assert (kept.data, kept.media_type, kept.width) == (sent, "application/pdf", None)


def _png_that_claims(width: int, height: int) -> bytes:
    """A few hundred bytes that say they are a very large picture."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    rows = zlib.compress(b"\x00" * 10_000)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


@pytest.mark.parametrize(("width", "height"), [(100_000, 100_000), (12_000, 9_000), (8_001, 8_000)])
def test_owasp_api4_unrestricted_resource_consumption_bomb_is_refused_unopened(
    monkeypatch: pytest.MonkeyPatch, width: int, height: int
) -> None:
    monkeypatch.setattr(Image.Image, "load", lambda *_: pytest.fail("the pixels were read"))
    with pytest.raises(UnusableFile, match="64 million pixels"):
        look_into(_png_that_claims(width, height))


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"hello",
        b"<svg xmlns='http://www.w3.org/2000/svg'/>",
        b"<html><script>alert(1)</script>",
        b"GIF89a" + b"\x00" * 50,
        b"PK\x03\x04" + b"\x00" * 50,
        b"%PDF-1.7 cut off",
        b"\xff\xd8\xff\xe0" + b"\x00" * 40,
        _png_that_claims(100, 100),
        b"%PDF-" + b"x" * LARGEST_BYTES,
    ],
)
def test_what_is_no_whole_photo_and_no_paper_is_refused(data: bytes) -> None:
    with pytest.raises(UnusableFile):
        look_into(data)


def test_photo_cut_off_anywhere_is_refused_or_kept_whole() -> None:
    sent = a_photo()
    for length in range(0, len(sent) - 2, max(1, len(sent) // 60)):
        with pytest.raises(UnusableFile):
            look_into(sent[:length])
