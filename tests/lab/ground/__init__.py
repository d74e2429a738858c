"""Where the eye for paper learns: drawings on white and toned paper, and under washes that cover all of their sheet.

What it is to say, at each place of a work: whether there is bare paper that is white, natural or cream; bare paper that
is toned; or none, for something is painted or drawn there. Neither lightness nor colour tells that in a photo: the lamp
and the camera change both. But they change the desk too; and a wash is thicker here than there.
"""
