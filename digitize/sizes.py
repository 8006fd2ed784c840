"""True sizes of things people lay beside a rocket, in millimetres, longer side first.

Sources: card, ISO/IEC 7810 ID-1; A4, ISO 216; US Letter, ANSI/ASME Y14.1 size A (8.5 x 11 in).
"""

CARD_MM = (85.60, 53.98)
CARD_CORNER_RADIUS_MM = (2.88, 3.48)  # the standard's smallest and largest
A4_MM = (297.0, 210.0)
LETTER_MM = (279.4, 215.9)
PAPER_TOLERANCE_MM = 2.0  # on either side of a sheet between 150 and 600 mm, ISO 216

PAPERS_MM = {"a4": A4_MM[::-1], "letter": LETTER_MM[::-1]}  # upright: width, height
