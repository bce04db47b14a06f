"""The report as one self-contained page that can be handed over.

Why it is: a technician looks, a customer or a colleague reads. The page opens from a mail attachment, asks nobody for
anything, prints, and shows beside each claim the picture that it rests on. Pure: no file, no clock; the same capture
gives the same page, byte for byte.

The pictures are drawn here, as SVG, and a small script of ours lets them be zoomed. A plotting library was not taken:
the general ones draw curves and know neither bits, symbols and messages on a time axis nor an overview that keeps every
spike; they would be most of the page's size, and the drawing would still be ours.
"""

from pdcheck.report.page.render import comparison_html, page_html

__all__ = ["comparison_html", "page_html"]
