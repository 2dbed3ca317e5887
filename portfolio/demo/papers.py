"""Invented scans and photographs. Each says in large letters that it is invented."""

import io
from collections.abc import Sequence

from django.core.files.base import ContentFile

A5_POINTS = (420, 595)
LEFT_POINTS = 36
MARK = "INVENTED"


def scan(title: str, lines: Sequence[str], name: str) -> ContentFile:
    """A one-page PDF with a title and some lines of text (Latin letters)."""
    import pikepdf
    from pikepdf.canvas import Canvas, Helvetica, Text

    canvas = Canvas(page_size=A5_POINTS)
    canvas.add_font(pikepdf.Name.F, Helvetica())
    page = Text().font(pikepdf.Name.F, 30).text_transform(pikepdf.Matrix().translated(LEFT_POINTS, 530))
    page.show(MARK).font(pikepdf.Name.F, 9).move_cursor(0, -18)
    page.show("Made for a demonstration. No such home, person or firm exists.")
    page.font(pikepdf.Name.F, 14).move_cursor(0, -40).show(title).font(pikepdf.Name.F, 11)
    for line in lines:
        page.move_cursor(0, -20).show(line)
    canvas.do.draw_text(page)
    kept = io.BytesIO()
    canvas.to_pdf().save(kept, deterministic_id=True)
    return ContentFile(kept.getvalue(), name=name)


def photograph(caption: str, name: str) -> ContentFile:
    """A small JPEG of a drawn socket on a wall, with its caption."""
    from PIL import Image, ImageDraw, ImageFont

    picture = Image.new("RGB", (640, 480), "#c9bfa8")
    draw = ImageDraw.Draw(picture)
    draw.rounded_rectangle((230, 140, 410, 320), radius=14, fill="#f3efe6", outline="#6d6759", width=4)
    for hole in ((305, 175, 335, 215), (265, 245, 300, 265), (340, 245, 375, 265)):
        draw.rectangle(hole, fill="#38352e")
    draw.line((410, 150, 470, 90, 520, 120), fill="#8a3b2a", width=7)
    draw.text((24, 20), MARK, fill="#8a1f1f", font=ImageFont.load_default(size=56))
    draw.text((24, 420), caption, fill="#26241f", font=ImageFont.load_default(size=24))
    kept = io.BytesIO()
    picture.save(kept, "JPEG", quality=80)
    return ContentFile(kept.getvalue(), name=name)
