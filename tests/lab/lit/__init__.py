"""Where the eye for light learns: works of the lab, and pictures of any kind laid over them, in light that falls off.

What it is to say, at each place of a work: how bright the light is there beside its mean over the work, natural log of
luminance, with all that makes light uneven: lamps and windows, shadows, bends, the lens. What is painted is none of it,
however much it looks like it; so where nothing tells, it is to say nothing.
"""
