"""What is done to samples on the card, so that none is seen twice: works on the desks of others and in their light,
washes over all of a sheet, paper of other colours, other strokes and rulings, lights of two colours over all, other
white balance, desks of two parts or of none."""

import torch
import torch.nn.functional as F  # noqa: N812 - the name that its own documentation uses
from torch import Tensor

from ..lit.varied import desk_of_parts, fading, without_desk
from ..shade.varied import depths, log_uniform, opaque, rand, shadow, soft, wash
from .samples import LIGHT, TONED

_LUMINANCE = (0.2126, 0.7152, 0.0722)
# Shares of the samples on light paper; of all.
_WASHED, _TONED, _PAINTED = 0.3, 0.25, 0.35
_UNEVEN, _AGED = 0.6, 0.3
_OTHER_DESK, _OTHER_LIGHT, _NO_DESK = 0.5, 0.5, 0.25
_STROKES, _RULED, _FADED, _TWO_LIGHTS, _SHADOWED, _TWO_DESKS = 0.3, 0.3, 0.4, 0.35, 0.25, 0.25
# Natural log: what takes less of the light is bare paper still, and what takes more is none.
_BARE, _PAINT = 0.015, 0.05


@torch.no_grad()
def varied(codes: Tensor, where: Tensor, lights: Tensor, bare: Tensor, paper: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """uint8 (B, n, n, 3), (B, n, n), half (B, 3, m, m), uint8 (B, m, m) and (B, 1) -> the net's input; (B, 3, m, m)
    shares of light paper, of toned, and of none; (B, m, m) how much each place counts, 0 beside the work."""
    count, side, device = len(codes), codes.shape[1], codes.device
    linear = (codes.permute(0, 3, 1, 2).float() / 255).clamp(0, 1) ** 2.2
    place, paper = where.float() / 2, paper.long()[:, 0]
    linear, place = _elsewhere(linear, place, F.interpolate(lights.float(), size=(side, side), mode="bilinear"))
    work = (place > 0.75)[:, None]
    light = (paper == LIGHT)[:, None, None]
    luck = rand(count, 0, 1, device)
    under, over = light & (luck < _WASHED), light & (luck > 1 - _TONED)
    taken = _cover(count, side, device) * under[:, None] + _sheet_colour(count, device) * over[:, None]
    some = (rand(count, 0, 1, device) < _PAINTED)[:, None]
    painted = wash(count, side, device)[0] * opaque(count, side, device)[0]
    taken = taken - torch.log(torch.where(some, painted, torch.ones_like(painted)))
    drawn = _strokes(linear, work)
    covered = taken - _tone_of(taken) * over[:, None] - torch.log(drawn)
    paint = torch.exp(-taken.clamp(max=4)) * drawn * _ruling(count, side, device)
    paint = paint * _uneven(count, side, device)
    linear = linear * torch.where(work, paint, desk_of_parts(count, side, device, _TWO_DESKS))
    linear = linear * fading(count, side, device, _FADED, 0.45, 0.1) * shadow(count, side, device, _SHADOWED)
    linear = linear * _two_lights(count, side, device)
    place = without_desk(place, work[:, 0], _NO_DESK)
    whole = torch.cat([_taken(linear, place), place[:, None]], 1)
    shares, weight = _truth(bare, torch.where(over[:, 0, 0], TONED, paper), covered, work)
    if torch.rand(1) < 0.5:
        whole, shares, weight = whole.flip(3), shares.flip(3), weight.flip(2)
    turns = int(torch.randint(4, (1,)))
    whole, shares = torch.rot90(whole, turns, (2, 3)), torch.rot90(shares, turns, (2, 3))
    return whole, shares, torch.rot90(weight, turns, (1, 2))


def _elsewhere(linear: Tensor, place: Tensor, lights: Tensor) -> tuple[Tensor, Tensor]:
    """Works (B, 3, n, n) on the desks and in the light of others; and (B, n, n) what each pixel shows then."""
    count, device = len(linear), linear.device
    own = linear / torch.exp(lights)
    other = torch.randperm(count, device=device)
    moved = (rand(count, 0, 1, device) < _OTHER_DESK) & (place < 0.75) & (place[other] < 0.75)
    shown = torch.where(moved[:, None], own[other].clamp(max=1.2), own)
    seen = torch.where(moved, place[other], place)
    lit = torch.where((rand(count, 0, 1, device) < _OTHER_LIGHT)[:, None], lights[torch.randperm(count)], lights)
    return shown * torch.exp(lit), seen


def _ruling(count: int, side: int, device: torch.device) -> Tensor:
    """(B, 3, n, n) what printed lines or squares leave of the light, on some."""
    at = torch.linspace(-0.5, 0.5, side, device=device) * side
    y, x = torch.meshgrid(at, at, indexing="ij")
    turn = rand(count, -0.04, 0.04, device)
    pitch, wide = log_uniform(count, 3, 16, device), rand(count, 0.35, 1.0, device)
    across, down = (
        torch.exp(-((((u + 1000) % pitch - pitch / 2) / wide) ** 2))
        for u in (y * torch.cos(turn) - x * torch.sin(turn), x * torch.cos(turn) + y * torch.sin(turn))
    )
    squares = (rand(count, 0, 1, device) < 0.5).float()
    lines = torch.maximum(across, down * squares) * rand(count, 0.05, 0.6, device)
    lines = lines * (rand(count, 0, 1, device) < _RULED)
    return torch.exp(-lines[:, None] * _pigment(count, device))


def truth(where: Tensor, bare: Tensor, paper: Tensor) -> tuple[Tensor, Tensor]:
    """(B, 3, m, m) shares and (B, m, m) what counts, of samples as they are."""
    work = (where == 2)[:, None]
    nothing = torch.zeros(len(where), 3, *where.shape[1:], device=where.device)
    return _truth(bare, paper.long()[:, 0], nothing, work)


def _truth(bare: Tensor, paper: Tensor, covered: Tensor, work: Tensor) -> tuple[Tensor, Tensor]:
    depth = F.max_pool2d(covered.amax(1, keepdim=True), 2)[:, 0]
    known = (depth < _BARE) | (depth > _PAINT)
    seen = bare.float() / 255 * (depth < _PAINT)
    shares = torch.stack([seen * (paper == LIGHT)[:, None, None], seen * (paper == TONED)[:, None, None], 1 - seen], 1)
    return shares, known * F.avg_pool2d(work.float(), 2)[:, 0]


def _cover(count: int, side: int, device: torch.device) -> Tensor:
    """(B, 3, n, n) what washes over all of a sheet take, natural log: one to three tones, laid from side to side or in
    broad parts, thicker here than there; a margin is left at the rim of some, and spots within."""
    taken = torch.zeros(count, 3, side, side, device=device)
    for k in range(3):
        there = 1.0 if k == 0 else (rand(count, 0, 1, device) < 0.5).float()
        part = _way(count, side, device) * log_uniform(count, 0.05, 0.6, device) * there
        taken = taken + part[:, None] * _pigment(count, device)
    thick = 1 + _grain(count, side, device) + _streaks(count, side, device)
    taken = taken * thick.clamp(0.3, 1.8)[:, None]
    return taken * (_margin(count, side, device) * _spared(count, side, device))[:, None]


def _pigment(count: int, device: torch.device) -> Tensor:
    """(B, 3, 1, 1) how much a pigment takes of red, green and blue beside what it takes most of."""
    takes = torch.rand(count, 3, 1, 1, device=device) ** 0.7
    return takes / takes.amax(1, keepdim=True)


def _uneven(count: int, side: int, device: torch.device) -> Tensor:
    """(B, 3, n, n) what makes a sheet uneven that is not painted, 1 elsewhere: bends, waves and creases take all
    colours alike; age hardly colours."""
    at = torch.linspace(-0.5, 0.5, side, device=device)
    y, x = torch.meshgrid(at, at, indexing="ij")
    turn, turns = rand(count, 0, 6.2832, device), rand(count, 2, 20, device)
    waves = torch.cos((x * torch.cos(turn) + y * torch.sin(turn)) * turns + rand(count, 0, 6.2832, device))
    field = waves * rand(count, -0.1, 0.15, device).clamp(min=0) + _grain(count, side, device).clamp(-0.3, 0.3) * 0.5
    for _ in range(2):
        crease = depths(count, side, device, 1)
        one_side = torch.tanh(crease / rand(count, 2, 12, device)) * torch.exp(-((crease / 30) ** 2))
        field = field + one_side * rand(count, -0.12, 0.12, device) * (rand(count, 0, 1, device) < 0.4)
    aged = F.interpolate(torch.randn(count, 3, 6, 6, device=device), size=(side, side), mode="bicubic")
    aged = aged * rand(count, 0, 0.012, device)[:, None] * (rand(count, 0, 1, device) < _AGED)[:, None]
    return torch.exp((field * (rand(count, 0, 1, device) < _UNEVEN))[:, None] + aged)


def _way(count: int, side: int, device: torch.device) -> Tensor:
    """(B, n, n) 0..1: all over, fading along a line, or in broad parts with soft or hard borders."""
    at = torch.linspace(-0.5, 0.5, side, device=device)
    y, x = torch.meshgrid(at, at, indexing="ij")
    turn = torch.where(rand(count, 0, 1, device) < 0.7, rand(count, 0, 4, device).floor() * 1.5708,
                       rand(count, 0, 6.2832, device))  # fmt: skip
    along = ((x * torch.cos(turn) + y * torch.sin(turn)) * rand(count, 0.6, 2, device) + 0.5).clamp(0, 1)
    parts = soft(depths(count, side, device, 3), log_uniform(count, 1, 90, device))
    pick = rand(count, 0, 1, device)
    return torch.where(pick < 0.3, torch.ones_like(parts), torch.where(pick < 0.7, along, parts))


def _grain(count: int, side: int, device: torch.device) -> Tensor:
    """(B, n, n) how a wash settles: in the paper's tooth, in blooms and clouds; for some hardly at all."""
    sizes = (1, 2, 4, 10, 32, 64)
    waves = [F.interpolate(torch.randn(count, 1, side // k, side // k, device=device), size=(side, side),
                           mode="bilinear" if k < 8 else "bicubic")[:, 0] * rand(count, 0, 1, device) ** 2
             for k in sizes]  # fmt: skip
    return torch.stack(waves).sum(0) * log_uniform(count, 0.01, 0.25, device)


def _streaks(count: int, side: int, device: torch.device) -> Tensor:
    """(B, n, n) the strokes of a broad brush, across or down."""
    fine = torch.randn(count, 1, side // 4, 4, device=device)
    across = F.interpolate(fine, size=(side, side), mode="bicubic")[:, 0]
    down = (rand(count, 0, 1, device) < 0.5).expand_as(across)
    across = torch.where(down, across.transpose(1, 2), across)
    return across * rand(count, -0.1, 0.15, device).clamp(min=0)


def _margin(count: int, side: int, device: torch.device) -> Tensor:
    """(B, n, n) 0 along the work's rim where tape kept it bare, else 1."""
    at = torch.linspace(-0.5, 0.5, side, device=device)
    y, x = torch.meshgrid(at, at, indexing="ij")
    inset = rand(count, 0.03, 0.1, device)
    inside = (0.4 - inset - torch.maximum(x.abs(), y.abs())[None]) * side
    taped = (rand(count, 0, 1, device) < 0.2).float()
    return 1 - taped * (1 - soft(inside, log_uniform(count, 0.5, 3, device)))


def _spared(count: int, side: int, device: torch.device) -> Tensor:
    """(B, n, n) what is left where a wash was lifted or laid around something, else 1."""
    cover = soft(depths(count, side, device, 2), log_uniform(count, 0.6, 12, device))
    return 1 - cover * rand(count, 0.3, 1, device) * (rand(count, 0, 1, device) < 0.2)


def _sheet_colour(count: int, device: torch.device) -> Tensor:
    """(B, 3, 1, 1) what the colour of toned paper takes, natural log: greys, browns and any other, light and dark."""
    pick = rand(count, 0, 1, device)[:, None]
    grey = 1 + 0.05 * torch.randn(count, 3, 1, 1, device=device)
    brown = torch.tensor([0.35, 0.6, 1.0], device=device)[None, :, None, None] + 0.08 * torch.randn_like(grey)
    tone = torch.where(pick < 0.35, grey, torch.where(pick < 0.6, brown, _pigment(count, device)))
    return tone * log_uniform(count, 0.2, 2.0, device)[:, None]


def _tone_of(taken: Tensor) -> Tensor:
    """(B, 3, 1, 1) what is taken all over."""
    return taken.flatten(2).quantile(0.02, dim=2)[..., None, None]


def _strokes(linear: Tensor, work: Tensor) -> Tensor:
    """(B, 1, n, n) the drawing of another sample, on some."""
    count, device = len(linear), linear.device
    other = linear[torch.randperm(count, device=device)].mean(1, keepdim=True)
    around = F.max_pool2d(F.pad(other, (7, 7, 7, 7), mode="replicate"), 15, 1)
    around = F.avg_pool2d(F.pad(around, (7, 7, 7, 7), mode="replicate"), 15, 1)
    drawn = (other / around.clamp(min=1e-3)).clamp(0.03, 1)
    drawn = torch.where(drawn > 0.8, torch.ones_like(drawn), drawn)
    return torch.where((rand(count, 0, 1, device) < _STROKES)[:, None] & work, drawn, torch.ones_like(drawn))


def _two_lights(count: int, side: int, device: torch.device) -> Tensor:
    """(B, 3, n, n) lights of two colours that share a view: the colour changes, the luminance does not."""
    field = torch.log(fading(count, side, device, 1.0, 0.6, 0.0))
    warm = torch.randn(count, 1, 1, 1, device=device) * (rand(count, 0, 1, device) < _TWO_LIGHTS)[:, None]
    green = torch.randn(count, 1, 1, 1, device=device) * 0.15 * warm.abs()
    return torch.exp(field * torch.cat([warm - green, green, -warm - green], 1))


def _taken(linear: Tensor, place: Tensor) -> Tensor:
    """(B, 3, n, n) codes 0..1 of what the camera makes of it, exposed for the lightest parts of all."""
    count, device = len(linear), linear.device
    luma = (linear * torch.tensor(_LUMINANCE, device=device)[None, :, None, None]).sum(1, keepdim=True)
    seen = torch.where((place > 0.25)[:, None], luma, torch.zeros_like(luma)).flatten(1)
    bright = torch.quantile(seen[:, ::7], 0.99, dim=1).clamp(min=1e-3)[:, None, None, None]
    warm = torch.randn(count, 1, 1, 1, device=device) * 0.2
    green = torch.randn(count, 1, 1, 1, device=device) * 0.04
    picture = linear * torch.exp(torch.cat([warm, green, -warm], 1)) * 0.8 / bright
    picture = (picture * torch.exp(torch.randn(count, 1, 1, 1, device=device) * 0.06)).clamp(0, 1) ** (1 / 2.2)
    picture = picture ** torch.exp(torch.randn(count, 1, 1, 1, device=device) * 0.12)
    blurred = F.avg_pool2d(F.pad(picture, (1, 1, 1, 1), mode="replicate"), 3, 1)
    # Phones smooth, or sharpen.
    picture = blurred + (picture - blurred) * torch.exp(torch.randn(count, 1, 1, 1, device=device) * 0.6).clamp(0, 3)
    picture = picture + torch.randn_like(picture) * rand(count, 0, 0.02, device)[:, None]
    return picture.clamp(0, 1) * (place > 0.25)[:, None]
