"""Reading printed PDFs back by libraries that had no part in making them."""

from io import BytesIO
from typing import Any

import pypdfium2
import zxingcpp
from pypdf import PdfReader


def page_images(pdf: bytes, dpi: int = 200) -> list[Any]:
    """Render every page in grey at the given resolution."""
    document = pypdfium2.PdfDocument(pdf)
    return [page.render(scale=dpi / 72, grayscale=True).to_pil() for page in document]


def qr_texts(image: Any) -> list[str]:
    """Return the text of every QR code found in an image."""
    found = zxingcpp.read_barcodes(
        image, formats=zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode)
    )
    return [code.text for code in found]


def text_of(pdf: bytes) -> str:
    """Return the text of all pages, with runs of white space as one space."""
    pages = (page.extract_text() for page in PdfReader(BytesIO(pdf)).pages)
    return " ".join(" ".join(pages).split())
