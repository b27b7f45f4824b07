"""OpenCV's QR reader: shares no code with the one in ``pdf_reading``."""

from collections.abc import Sequence
from typing import Any

import cv2

_DETECTOR = cv2.QRCodeDetector()


def opencv_text(grey: Any, enlargements: Sequence[int] = (1,)) -> str:
    """Return the text of the QR code in a grey image of one label; empty if it can't be read.

    Args:
        grey: shape (height, width), of bytes.
        enlargements: sizes at which to try in turn, as when a phone is held nearer.
    """
    for times in enlargements:
        size = cv2.resize(grey, None, fx=times, fy=times, interpolation=cv2.INTER_CUBIC)
        try:
            text, _, _ = _DETECTOR.detectAndDecode(size)
        except cv2.error:
            # It raises on some shapes that it takes for a symbol, instead of finding none.
            continue
        if text:
            return str(text)
    return ""
