"""Schematic drawings of arm and hand: where the pads of chosen muscles lie, and which neighbours they hear.

Geometry is data: points in millimetres, for the right side, in the modules of the views; drawn for this package from
worded descriptions and from memory of anatomy, as simple rounded shapes. A new muscle is a belly and a site in at least
one view, under its key of the muscle reference.

    drawing         which views, and ``draw_muscles``
    panel           one view with its labels
    placing         where labels stand
    palette         colours
    figure          what a view is made of
    arm_front, arm_back, arm, hand, section     the views
    shapes          curves, bellies, hatches
"""

from emgreview.muscles.drawings.drawing import VIEWS, Drawing, draw_muscles

__all__ = ["VIEWS", "Drawing", "draw_muscles"]
