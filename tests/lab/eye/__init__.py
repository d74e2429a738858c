"""The second eye: generated scenes, a small network that learns outlines from them, its training and export.

What counts as the work (the target policy; `stage.works_of` carries it out):

* The outermost edge of the object. Of a framed picture that is the frame's outer lip, of a stretched canvas the far
  edge of each side that shows, of a sheet the paper's edge - never a drawn border, a mount or a printed rule in it.
* The top sheet. What lies under it (sheets, a board, a folder, a pile of pages) is ground.
* A whole object beats one that the photo's border cuts off; a whole object beside the work counts as a further work
  when it has at least half of the work's area.
* Where the photo's border cuts the work, the border is its side there.
* Fingers, pens and weights over an edge do not change it; torn or rounded corners count as sharp.
* Where nothing of this kind is in the photo, there is no work.

Scenes are square pictures of `SIDE_PX`, as the network sees photos of any shape squeezed into a square. They are made
of display values (sRGB, 0..1, RGB) because that is what the network gets, and because a scene must cost 50 ms at most.
"""

SIDE_PX = 416
"""Side of a generated scene. Chosen: crops of it still fill the network's largest input, 384 pixels."""
