"""Where the eye for shade learns: works of the lab in its light and shadows, seen squarely with a strip of their desk.

What it is to say, at each place: how much of the light a shadow takes there, natural log of luminance, on the desk as
on the work; and whether what lies between the strokes there is bare paper. A shadow is what something throws that
stands in a lamp's way; how the light falls off from a lamp, bends of the sheet, the fold of a book and washes are none.
"""
