"""What is done to samples on the card, so that none is seen twice: more shadows, washes, other light, no desk."""

import torch
import torch.nn.functional as F  # noqa: N812 - the name that its own documentation uses
from torch import Tensor

_LUMINANCE = (0.2126, 0.7152, 0.0722)
_SHADOWED, _WASHED, _COVERED, _NO_DESK = 0.5, 0.45, 0.4, 0.12  # shares of the samples
_BLOB = 4  # of the shapes
# Pixels. What is darker and has a harder border than this is a shadow only if it comes in from outside the view: what
# throws a hard one is held by something, or lies there itself. Paint lies anywhere.
_HARD_PX = 4.0
_PAINT = 0.02  # a wash that takes less of the light is none


def rand(count: int, low: float, high: float, device: torch.device) -> Tensor:
    return (torch.rand(count, device=device) * (high - low) + low)[:, None, None]


def fields(count: int, side: int, device: torch.device, come_in: Tensor | None = None) -> Tensor:
    """(B, n, n) signed depth in pixels inside random shapes: half planes, capsules, ellipses, stripes and blobs.

    come_in: (B, 1, 1) where a shape must come in from outside the view, and be no blob; else there is none.
    """
    at = torch.linspace(-0.5, 0.5, side, device=device) * side
    y, x = torch.meshgrid(at, at, indexing="ij")
    turn = rand(count, 0, 6.2832, device)
    cx, cy = rand(count, -0.6, 0.6, device) * side, rand(count, -0.6, 0.6, device) * side
    u = (x - cx) * torch.cos(turn) + (y - cy) * torch.sin(turn)
    v = -(x - cx) * torch.sin(turn) + (y - cy) * torch.cos(turn)
    size = rand(count, 0.03, 0.35, device) * side
    long = rand(count, 0.1, 1.2, device) * side
    capsule = size * 0.5 - torch.hypot(u - u.clamp(min=torch.zeros_like(long), max=long), v)
    ellipse = size * (1 - torch.hypot(u / (size * rand(count, 0.5, 2.5, device)), v / size))
    stripes = (torch.cos(u / (size * 0.5)) + rand(count, -0.6, 0.6, device)) * size * 0.4
    coarse = torch.randn(count, 1, 8, 8, device=device) + 0.5 * F.interpolate(
        torch.randn(count, 1, 4, 4, device=device), size=8, mode="bilinear"
    )
    blob = (
        F.interpolate(coarse, size=(side, side), mode="bicubic")[:, 0] * side * 0.05
        - rand(count, 0, 1, device) * size * 0.3
    )
    options = torch.stack([u, capsule, ellipse, stripes, blob], 1)
    pick = torch.multinomial(torch.tensor([0.22, 0.3, 0.2, 0.06, 0.22], device=device).expand(count, 5), 1)
    depth = options.gather(1, pick[:, :, None, None].expand(-1, 1, side, side))[:, 0]
    if come_in is None:
        return depth
    rim = torch.cat([depth[:, 0], depth[:, -1], depth[:, :, 0], depth[:, :, -1]], 1)
    alone = (rim.amax(1, keepdim=True) < 0) | (pick == _BLOB)
    return torch.where(come_in & alone[..., None], torch.full_like(depth, -float(side)), depth)


def depths(count: int, side: int, device: torch.device, most: int, come_in: Tensor | None = None) -> Tensor:
    """(B, n, n) signed depth inside one to `most` shapes each."""
    depth = fields(count, side, device, come_in)
    for _ in range(most - 1):
        more = fields(count, side, device, come_in)
        depth = torch.where(rand(count, 0, 1, device) < 0.45, torch.maximum(depth, more), depth)
    return depth


def soft(depth: Tensor, softness: Tensor) -> Tensor:
    t = ((depth / softness) * 0.5 + 0.5).clamp(0, 1)
    return t * t * (3 - 2 * t)


def log_uniform(count: int, low: float, high: float, device: torch.device) -> Tensor:
    return torch.exp(rand(count, float(torch.log(torch.tensor(low))), float(torch.log(torch.tensor(high))), device))


def shadow(count: int, side: int, device: torch.device, share: float = _SHADOWED) -> Tensor:
    """(B, 3, n, n) what random shadows leave of the light, 1 where there is none."""
    softness = log_uniform(count, 0.7, 45, device)
    cover = soft(depths(count, side, device, 3, softness < _HARD_PX), softness)
    cover = cover * rand(count, 0.12, 0.92, device) * (rand(count, 0, 1, device) < share)
    # Of two lights one is hidden: what is left is warmer or colder, hardly greener.
    warm = (torch.randn(count, 1, 1, 1, device=device) * 0.16).clamp(-0.5, 0.5)
    green = torch.randn(count, 1, 1, 1, device=device) * 0.03
    tint = torch.cat([1 - warm, 1 + green, 1 + warm], 1)
    return (1 - cover[:, None] * tint).clamp(0.03, 1.0)


def wash(count: int, side: int, device: torch.device) -> tuple[Tensor, Tensor]:
    """(B, 3, n, n) what random washes leave of the light, and (B, n, n) whether there is paint."""
    depth = depths(count, side, device, 3)
    softness = torch.where(
        rand(count, 0, 1, device) < 0.6, log_uniform(count, 0.5, 3, device), log_uniform(count, 3, 30, device)
    )
    cover = soft(depth, softness)
    grain = sum(
        F.interpolate(torch.randn(count, 1, side // k, side // k, device=device), size=(side, side), mode="bilinear")[
            :, 0
        ]
        for k in (1, 3, 12, 40)
    )
    edge = torch.exp(-depth.abs() / rand(count, 1, 4, device)) * rand(count, -0.4, 0.8, device).clamp(min=0)
    cover = cover * (1 + rand(count, -0.08, 0.22, device).clamp(min=0) * grain * 0.6 + edge).clamp(0.2, 2.5)
    cover = cover * (rand(count, 0, 1, device) < _WASHED)
    strength = log_uniform(count, 0.03, 0.9, device)
    colour = torch.rand(count, 3, 1, 1, device=device) * torch.rand(count, 1, 1, 1, device=device).sqrt()
    neutral = (rand(count, 0, 1, device) < 0.3)[:, None]
    absorbed = strength[:, None] * torch.where(
        neutral, 1 + 0.06 * torch.randn(count, 3, 1, 1, device=device), 1 - colour
    )
    taken = cover[:, None] * absorbed.clamp(min=0)
    return torch.exp(-taken), taken.amax(1) > _PAINT


def opaque(count: int, side: int, device: torch.device) -> tuple[Tensor, Tensor]:
    """(B, 3, n, n) what random flat parts of opaque paint leave of the light, and (B, n, n) whether there is paint.

    Gouache, ink laid in solid, coloured paper stuck on: one colour of any depth, black and greys as well, hard all
    round, in shapes that lie within the work as often as they reach its rim. A shadow could be as dark and as even.
    """
    taken = torch.zeros(count, 3, side, side, device=device)
    for _ in range(3):
        depth = fields(count, side, device)
        cover = soft(depth, log_uniform(count, 0.4, 3, device)) * (rand(count, 0, 1, device) < _COVERED)
        strength = log_uniform(count, 0.08, 3.2, device)[:, None]
        grey = (rand(count, 0, 1, device) < 0.45)[:, None]
        tint = torch.where(
            grey, 1 + 0.08 * torch.randn(count, 3, 1, 1, device=device), torch.rand(count, 3, 1, 1, device=device) * 1.6
        )
        # Dry brush and paper's tooth show through some of it; an outline is drawn around some.
        tooth = F.interpolate(torch.randn(count, 1, side // 2, side // 2, device=device), size=(side, side))[:, 0]
        cover = cover * (1 + rand(count, -0.1, 0.12, device).clamp(min=0) * tooth)
        line = torch.exp(-((depth / rand(count, 0.6, 2, device)) ** 2)) * rand(count, -2, 2, device).clamp(min=0)
        line = line * (cover.amax((1, 2), keepdim=True) > 0)
        mine = cover[:, None] * strength * tint.clamp(min=0) + line[:, None]
        taken = torch.where((cover > 0.5)[:, None], mine, taken + mine)
    return torch.exp(-taken.clamp(max=4)), taken.amax(1) > _PAINT


@torch.no_grad()
def varied(codes: Tensor, where: Tensor, shade: Tensor, bare: Tensor) -> tuple[Tensor, Tensor, Tensor, Tensor]:
    """uint8 (B, n, n, 3) and (B, n, n), half (B, m, m), uint8 (B, m, m) -> the net's input, shade, bare, weight."""
    count, side, device = len(codes), codes.shape[1], codes.device
    linear = (codes.permute(0, 3, 1, 2).float() / 255).clamp(0, 1) ** 2.2
    shade, bare, place = shade.float(), bare.float() / 255, where.float() / 2
    left = shadow(count, side, device)
    paint, painted = wash(count, side, device)
    flat, covered = opaque(count, side, device)
    paint, painted = paint * flat, painted | covered
    work = place > 0.75
    linear = linear * left * torch.where(work[:, None], paint, torch.ones_like(paint))
    luma = (left * torch.tensor(_LUMINANCE, device=device)[None, :, None, None]).sum(1)
    shade = shade + torch.log(F.avg_pool2d(luma[:, None], 2)[:, 0].clamp(min=0.02))
    bare = bare * (1 - F.avg_pool2d((painted & work).float()[:, None], 2)[:, 0])
    desk_gone = (rand(count, 0, 1, device) < _NO_DESK) & ~work
    place = torch.where(desk_gone, torch.zeros_like(place), place)
    gain = torch.exp(
        torch.randn(count, 3, 1, 1, device=device) * 0.06 + torch.randn(count, 1, 1, 1, device=device) * 0.12
    )
    picture = (linear * gain).clamp(0, 1) ** (1 / 2.2)
    picture = picture ** torch.exp(torch.randn(count, 1, 1, 1, device=device) * 0.1)
    picture = picture + torch.randn_like(picture) * rand(count, 0, 0.02, device)[:, None]
    picture = picture.clamp(0, 1) * (place > 0.25)[:, None]
    whole = torch.cat([picture, place[:, None]], 1)
    weight = place[:, ::2, ::2]
    if torch.rand(1) < 0.5:
        whole, shade, bare, weight = whole.flip(3), shade.flip(2), bare.flip(2), weight.flip(2)
    turns = int(torch.randint(4, (1,)))
    whole = torch.rot90(whole, turns, (2, 3))
    shade, bare, weight = (torch.rot90(part, turns, (1, 2)) for part in (shade, bare, weight))
    return whole, relative(shade, weight), bare, weight


def relative(shade: Tensor, weight: Tensor) -> Tensor:
    """The shade beside the lightest place that is seen: what lies over all of the view can't be told."""
    top = torch.where(weight > 0.25, shade, torch.full_like(shade, -9)).amax((1, 2), keepdim=True)
    return (shade - top).clamp(-3, 0)


def plain(codes: Tensor, where: Tensor) -> Tensor:
    """The net's input of samples as they are."""
    picture = codes.permute(0, 3, 1, 2).float() / 255
    return torch.cat([picture, where.float()[:, None] / 2], 1)
