"""What is done to samples on the card, so that none is seen twice: pictures laid over sheets, paint that fades as light
does, more light and shadow over all, desks of two parts or of none."""

import torch
import torch.nn.functional as F  # noqa: N812 - the name that its own documentation uses
from torch import Tensor

from ..shade.varied import depths, log_uniform, opaque, rand, shadow, soft, wash

_LUMINANCE = (0.2126, 0.7152, 0.0722)
# Shares of the samples, and of those that are drawn on bare paper.
_LAID, _IN_PART, _FADING, _LIT, _SHADOWED, _TWO_DESKS, _BUSY_DESK = 0.85, 0.2, 0.45, 0.5, 0.3, 0.3, 0.25
_NO_DESK, _NO_SIDE, _EVENED, _AS_IT_IS = 0.1, 0.1, 0.2, 0.4
_DRAWN = 0.25  # with so much bare paper a picture may be laid over it


@torch.no_grad()
def varied(
    codes: Tensor, where: Tensor, light: Tensor, bare: Tensor, pictures: Tensor
) -> tuple[Tensor, Tensor, Tensor]:
    """uint8 (B, n, n, 3) and (B, n, n), half (B, m, m), uint8 (B, m, m) and (B, p, p, 3) -> the net's input, the light,
    natural log, and where: (B, m, m) 1 on the work, .5 on the desk, 0 beyond the photo."""
    count, side, device = len(codes), codes.shape[1], codes.device
    linear = (codes.permute(0, 3, 1, 2).float() / 255).clamp(0, 1) ** 2.2
    light, place = light.float(), where.float() / 2
    linear, light = _evened(linear, light)
    work = (place > 0.75)[:, None]
    paper = (bare.float() / 255).mean((1, 2)) > _DRAWN * (work.float().mean((1, 2, 3)))
    # Not over all: most pictures have neither washes nor solid parts of such a kind.
    plain = (rand(count, 0, 1, device) < _AS_IT_IS)[:, None]
    more = wash(count, side, device)[0] * opaque(count, side, device)[0]
    paint = _laid(pictures, side, paper) * torch.where(plain, torch.ones_like(more), more)
    paint = paint * fading(count, side, device, _FADING, 0.5)
    linear = linear * torch.where(work, paint, _on_desk(pictures, count, side, device))
    more = fading(count, side, device, _LIT, 0.45, 0.12) * shadow(count, side, device, _SHADOWED)
    linear = linear * more
    luma = (more * torch.tensor(_LUMINANCE, device=device)[None, :, None, None]).sum(1)
    light = light + torch.log(F.avg_pool2d(luma[:, None], 2)[:, 0].clamp(min=0.02))
    place = without_desk(place, work[:, 0])
    whole = torch.cat([_taken(linear, work, place), place[:, None]], 1)
    weight = place[:, ::2, ::2]
    if torch.rand(1) < 0.5:
        whole, light, weight = whole.flip(3), light.flip(2), weight.flip(2)
    turns = int(torch.randint(4, (1,)))
    whole = torch.rot90(whole, turns, (2, 3))
    light, weight = (torch.rot90(part, turns, (1, 2)) for part in (light, weight))
    return whole, light, weight


def _evened(linear: Tensor, light: Tensor) -> tuple[Tensor, Tensor]:
    """Some of the samples in a more even light, down to that of a scanner."""
    count, side, device = len(linear), linear.shape[-1], linear.device
    taken = rand(count, 0, 1.4, device).clamp(max=1) * (rand(count, 0, 1, device) < _EVENED)
    less = beside_mean(light, torch.ones_like(light)) * taken
    whole = F.interpolate(less[:, None], size=(side, side), mode="bilinear")
    return linear * torch.exp(-whole), light - less


def _laid(pictures: Tensor, side: int, paper: Tensor) -> Tensor:
    """(B, 3, n, n) what a picture, of another sample, leaves of the light that falls on a sheet of bare paper."""
    count, device = len(pictures), pictures.device
    one = pictures[torch.randperm(count, device=device)].permute(0, 3, 1, 2).float() / 255
    one = torch.rot90(one, int(torch.randint(4, (1,))), (2, 3))
    margin = (side - one.shape[-1]) // 2
    one = F.pad(one, (margin,) * 4, mode="replicate") ** (2.2 * rand(count, 0.6, 1.3, device)[:, None])
    one = one * rand(count, 0.5, 1.0, device)[:, None] + rand(count, 0.005, 0.04, device)[:, None]
    whole = soft(depths(count, side, device, 3), log_uniform(count, 0.5, 4, device)) > 0.5
    whole = whole | (rand(count, 0, 1, device) > _IN_PART)
    chosen = paper[:, None, None] & (rand(count, 0, 1, device) < _LAID)
    return torch.where((whole & chosen)[:, None], one.clamp(max=1), torch.ones_like(one))


def fading(count: int, side: int, device: torch.device, share: float, most: float, tint: float = 0.3) -> Tensor:
    """(B, 3, n, n) a factor that changes slowly over all: along a line, from a place outwards, or in a few broad waves.

    most: of its range, natural log; tint: how much the colours differ in it.
    """
    at = torch.linspace(-1, 1, side, device=device)
    y, x = torch.meshgrid(at, at, indexing="ij")
    turn = rand(count, 0, 6.2832, device)
    along = (x * torch.cos(turn) + y * torch.sin(turn)) / 2
    cx, cy = rand(count, -1.2, 1.2, device), rand(count, -1.2, 1.2, device)
    near = 1 / (1 + ((x - cx) ** 2 + (y - cy) ** 2) / rand(count, 0.5, 4, device))
    broad = F.interpolate(torch.randn(count, 1, 5, 5, device=device), size=(side, side), mode="bicubic")[:, 0] * 0.25
    options = torch.stack([along, near, broad], 1)
    pick = torch.multinomial(torch.tensor([0.4, 0.35, 0.25], device=device).expand(count, 3), 1)
    field = options.gather(1, pick[:, :, None, None].expand(-1, 1, side, side))[:, 0]
    strength = rand(count, 0, 1, device) ** 1.5 * most * (rand(count, 0, 1, device) < share)
    colours = 1 + tint * torch.randn(count, 3, 1, 1, device=device)
    return torch.exp((field * strength)[:, None] * colours)


def _on_desk(pictures: Tensor, count: int, side: int, device: torch.device) -> Tensor:
    """(B, 3, n, n) what a desk of its own leaves of the light: one of two parts, or one with things on it."""
    parts = desk_of_parts(count, side, device, _TWO_DESKS)
    things = pictures[torch.randperm(count, device=device)].permute(0, 3, 1, 2).float() / 255
    things = F.interpolate(things, size=(side, side), mode="bilinear") ** 2.2
    busy = (rand(count, 0, 1, device) < _BUSY_DESK)[:, None]
    return parts * torch.where(busy, 0.1 + 0.9 * things, torch.ones_like(things))


def desk_of_parts(count: int, side: int, device: torch.device, share: float) -> Tensor:
    """(B, 3, n, n) what is left of the light by a desk of two tones, on a share of the samples, 1 elsewhere."""
    cover = soft(depths(count, side, device, 2), log_uniform(count, 0.4, 3, device))
    cover = cover * (rand(count, 0, 1, device) < share)
    tone = torch.exp(-torch.rand(count, 3, 1, 1, device=device) * rand(count, 0, 1.5, device)[:, None])
    return 1 - cover[:, None] * (1 - tone)


def without_desk(place: Tensor, work: Tensor, share: float = _NO_DESK) -> Tensor:
    """(B, n, n) what each pixel shows, with the photo's border nearer on some sides, or, on a share, on all."""
    count, side, device = len(place), place.shape[-1], place.device
    gone = (rand(count, 0, 1, device) < share).expand_as(place).clone()
    at = torch.arange(side, device=device)
    for k in range(4):
        reach = rand(count, 0, 0.1, device) * side
        beyond = (at if k % 2 else side - 1 - at)[None, None, :] < reach
        beyond = beyond if k < 2 else beyond.transpose(1, 2)
        gone |= beyond & (rand(count, 0, 1, device) < _NO_SIDE)
    return torch.where(gone & ~work, torch.zeros_like(place), place)


def _taken(linear: Tensor, work: Tensor, place: Tensor) -> Tensor:
    """(B, 3, n, n) codes 0..1 of what the camera makes of it, exposed for the work's lightest parts."""
    count, device = len(linear), linear.device
    luma = (linear * torch.tensor(_LUMINANCE, device=device)[None, :, None, None]).sum(1, keepdim=True)
    on_work = torch.where(work, luma, torch.zeros_like(luma)).flatten(1)
    bright = torch.quantile(on_work[:, ::7], 0.99, dim=1).clamp(min=1e-3)[:, None, None, None]
    cast = torch.exp(torch.randn(count, 3, 1, 1, device=device) * 0.06)
    picture = (linear * 0.8 / bright * cast).clamp(0, 1) ** (1 / 2.2)
    picture = picture ** torch.exp(torch.randn(count, 1, 1, 1, device=device) * 0.08)
    picture = picture + torch.randn_like(picture) * rand(count, 0, 0.02, device)[:, None]
    return picture.clamp(0, 1) * (place > 0.25)[:, None]


def plain(codes: Tensor, where: Tensor) -> Tensor:
    """The net's input of samples as they are."""
    picture = codes.permute(0, 3, 1, 2).float() / 255
    return torch.cat([picture, where.float()[:, None] / 2], 1)


def beside_mean(light: Tensor, weight: Tensor) -> Tensor:
    """(B, m, m) natural log of a light, less its mean over the work."""
    on_work = (weight > 0.75).float()
    mean = (light * on_work).sum((1, 2), keepdim=True) / on_work.sum((1, 2), keepdim=True).clamp(min=1)
    return light - mean
