from io import BytesIO

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from qrcode.main import QRCode
from qrcode.util import MODE_ALPHA_NUM, QRData, lost_point
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from labels.codes import QR_ALPHANUMERIC
from labels.symbols import (
    QUIET_ZONE_MODULES,
    ErrorCorrection,
    SymbolError,
    dark_runs,
    draw_symbol,
    make_symbol,
    mask_penalties,
)
from tests.labels.pdf_reading import page_images, qr_texts

alphanumeric = st.text(st.sampled_from(sorted(QR_ALPHANUMERIC)), min_size=1, max_size=80)


@settings(max_examples=25, deadline=None)
@given(alphanumeric, st.sampled_from(ErrorCorrection))
def test_the_mask_has_the_least_penalty_by_the_librarys_own_count(
    text: str, level: ErrorCorrection
) -> None:
    symbol = make_symbol(text, level)
    penalties = []
    for mask in range(8):
        code: QRCode[None] = QRCode(
            version=symbol.version, error_correction="MLHQ".index(level), mask_pattern=mask
        )
        code.add_data(QRData(text.encode(), mode=MODE_ALPHA_NUM))
        code.make(fit=False)
        modules = np.array(code.modules, dtype=np.bool_)
        penalties.append(lost_point(code.modules))
        assert mask_penalties(modules[np.newaxis])[0] == penalties[-1]
        if mask == symbol.mask:
            assert (symbol.modules == modules).all()
    assert symbol.mask == penalties.index(min(penalties))


@settings(max_examples=25, deadline=None)
@given(alphanumeric, st.sampled_from(ErrorCorrection))
def test_symbols_read_back(text: str, level: ErrorCorrection) -> None:
    symbol = make_symbol(text, level)
    light = ~np.pad(symbol.modules, QUIET_ZONE_MODULES)
    image = np.kron(light.astype(np.uint8) * 255, np.ones((4, 4), dtype=np.uint8))
    assert qr_texts(image) == [text]


def test_runs_cover_the_dark_modules_and_no_other() -> None:
    modules = make_symbol("HTTPS://TAGS.EXAMPLE/T/0").modules
    drawn = np.zeros_like(modules, dtype=np.int8)
    for row, start, length in dark_runs(modules):
        drawn[row, start : start + length] += 1
    assert (drawn == modules).all()


@pytest.mark.parametrize("text", ["", "lower", "A_B", "Ü"])
def test_texts_outside_the_mode_are_refused(text: str) -> None:
    with pytest.raises(SymbolError, match="alphanumeric"):
        make_symbol(text)


def test_a_text_too_long_is_refused() -> None:
    with pytest.raises(SymbolError, match="too many"):
        make_symbol("A" * 5_000)


def test_a_drawn_symbol_measures_what_it_says() -> None:
    symbol = make_symbol("HTTPS://TAGS.EXAMPLE/T/0123456789ABC")
    side = symbol.side_mm(0.8)
    assert side == pytest.approx((17 + 4 * symbol.version + 8) * 0.8)
    file = BytesIO()
    canvas = Canvas(file, pagesize=(side * mm, side * mm))
    draw_symbol(canvas, symbol, 0, 0, 0.8)
    canvas.save()
    (image,) = page_images(file.getvalue(), dpi=254)  # ten pixels a millimetre
    dark = np.asarray(image) < 128
    rows, columns = np.nonzero(dark)
    quiet_px = QUIET_ZONE_MODULES * 8
    expected = (quiet_px, round(side * 10) - quiet_px - 1)
    assert (rows.min(), rows.max()) == pytest.approx(expected, abs=1)
    assert (columns.min(), columns.max()) == pytest.approx(expected, abs=1)
    assert qr_texts(image) == [symbol.text]
