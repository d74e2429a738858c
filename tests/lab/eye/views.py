"""Fresh views of stored scenes on the GPU, and the maps that the network is to learn from their quads."""

import torch
import torch.nn.functional as F  # noqa: N812 - the name that its own documentation uses
from torch import Tensor

from . import SIDE_PX

# A quad that is not there stands far outside the picture.
ABSENT = -1e4
# Spread of the outline's and the corners' bells, in pixels of the maps. From the trials that came before.
_EDGE_PX, _CORNER_PX = 1.1, 1.7


def present(quads: Tensor) -> Tensor:
    """(B, K, 4, 2) quads -> (B, K) which of them are there."""
    return quads[:, :, 0, 0] > ABSENT / 2


def plain(pictures: Tensor, quads: Tensor, side: int) -> tuple[Tensor, Tensor]:
    """(B, S, S, 3) uint8 and (B, K, 4, 2) -> (B, 3, side, side) in 0..1 and the quads in its pixels, as they are."""
    corners = _square(SIDE_PX, pictures.device).expand(len(pictures), 4, 2)
    return _resampled(pictures, quads, corners, side)


def varied(pictures: Tensor, quads: Tensor, side: int) -> tuple[Tensor, Tensor]:
    """The same, cropped, mirrored, turned, leaning, and in other light, colours, contrast, blur and noise."""
    picture, moved = _resampled(pictures, quads, _crops(quads), side)
    return _other_light(picture), moved


def _square(side: float, device: torch.device) -> Tensor:
    return torch.tensor([[0.0, 0.0], [side, 0.0], [side, side], [0.0, side]], device=device)[None]


def _rand(*size: int, like: Tensor) -> Tensor:
    return torch.rand(*size, device=like.device)


def _crops(quads: Tensor) -> Tensor:
    """(B, 4, 2) the part of each scene that becomes the view; one crop in eleven cuts a side of the work."""
    count, there = len(quads), present(quads)
    any_there = there.any(1)[:, None]
    low = torch.where(there[..., None, None], quads, torch.full_like(quads, 1e9)).amin((1, 2))
    high = torch.where(there[..., None, None], quads, torch.full_like(quads, -1e9)).amax((1, 2))
    low = torch.where(any_there, low, torch.full_like(low, SIDE_PX * 0.3))
    high = torch.where(any_there, high, torch.full_like(high, SIDE_PX * 0.7))
    room = (0.01 + 0.03 * _rand(count, 2, like=quads)) * SIDE_PX
    room = torch.where(_rand(count, 2, like=quads) < 0.09, -2 * room, room)
    low = (low - room).clamp_min(0) * _rand(count, 2, like=quads) * (_rand(count, 2, like=quads) < 0.75)
    beyond = (SIDE_PX - high - room).clamp_min(0) * _rand(count, 2, like=quads) * (_rand(count, 2, like=quads) < 0.75)
    high = (SIDE_PX - beyond).clamp_max(SIDE_PX)
    corners = torch.stack(
        [low, torch.stack([high[:, 0], low[:, 1]], -1), high, torch.stack([low[:, 0], high[:, 1]], -1)], 1
    )
    corners = corners + (_rand(count, 4, 2, like=quads) - 0.5) * 0.05 * SIDE_PX * _rand(count, 1, 1, like=quads)
    return corners.gather(1, _turns(count, quads)[..., None].expand(-1, -1, 2))


def _turns(count: int, like: Tensor) -> Tensor:
    """(B, 4) order of the corners: six in ten upright (half of them mirrored), the others turned any way."""
    step = torch.arange(4, device=like.device)[None]
    start = torch.randint(0, 4, (count, 1), device=like.device)
    way = torch.where(_rand(count, 1, like=like) < 0.5, 1, -1)
    mirrored = torch.tensor([[1, 0, 3, 2]], device=like.device)
    upright = torch.where(_rand(count, 1, like=like) < 0.5, step, mirrored)
    return torch.where(_rand(count, 1, like=like) < 0.6, upright, (start + way * step) % 4)


def _resampled(pictures: Tensor, quads: Tensor, corners: Tensor, side: int) -> tuple[Tensor, Tensor]:
    count, device = len(pictures), pictures.device
    to_scene = _homography(_square(side, device).expand(count, 4, 2), corners)
    at = torch.arange(side, device=device) + 0.5
    ys, xs = torch.meshgrid(at, at, indexing="ij")
    grid = _project(to_scene, torch.stack([xs, ys], -1).view(1, -1, 2).expand(count, -1, -1))
    grid = grid.view(count, side, side, 2) * 2 / SIDE_PX - 1
    picture = F.grid_sample(pictures.permute(0, 3, 1, 2).float() / 255, grid, "bilinear", "border", align_corners=False)
    moved = _project(torch.linalg.inv(to_scene), quads.flatten(1, 2)).view_as(quads)
    return picture, torch.where(present(quads)[..., None, None], moved, quads)


def _homography(source: Tensor, target: Tensor) -> Tensor:
    """(B, 4, 2), (B, 4, 2) -> (B, 3, 3) maps that take source to target."""
    x, y, u, v = source[..., 0], source[..., 1], target[..., 0], target[..., 1]
    zero, one = torch.zeros_like(x), torch.ones_like(x)
    upper = torch.stack([x, y, one, zero, zero, zero, -u * x, -u * y], -1)
    lower = torch.stack([zero, zero, zero, x, y, one, -v * x, -v * y], -1)
    solved = torch.linalg.solve(torch.cat([upper, lower], 1).double(), torch.cat([u, v], 1).double()).float()
    return torch.cat([solved, torch.ones_like(solved[:, :1])], 1).view(-1, 3, 3)


def _project(matrix: Tensor, points: Tensor) -> Tensor:
    mapped = torch.cat([points, torch.ones_like(points[..., :1])], -1) @ matrix.transpose(1, 2)
    return mapped[..., :2] / mapped[..., 2:]


def _other_light(picture: Tensor) -> Tensor:
    count, side = len(picture), picture.shape[-1]

    def rand() -> Tensor:
        return _rand(count, 1, 1, 1, like=picture)

    tint = torch.randn(count, 3, 1, 1, device=picture.device) * 0.18 * rand()
    gain = torch.randn(count, 1, 1, 1, device=picture.device) * 0.25
    picture = picture * torch.exp(tint + gain)
    at, angle = torch.linspace(-1, 1, side, device=picture.device), _rand(count, 1, 1, like=picture) * 6.283
    slope = at.view(1, 1, side) * torch.cos(angle) + at.view(1, side, 1) * torch.sin(angle)
    picture = picture * (1 + slope * _rand(count, 1, 1, like=picture) * 0.4)[:, None]
    grey = picture.mean(1, keepdim=True)
    picture = (grey + (picture - grey) * rand() * 1.3).clamp(0, 1)
    picture = picture ** torch.exp(torch.randn(count, 1, 1, 1, device=picture.device) * 0.25)
    flatter = rand() * 0.3
    picture = picture * (1 - flatter * 0.7) + flatter * 0.35 * rand()
    picture = _blurred(picture, (rand() * 2 - 0.5).clamp_min(0.15))
    return (picture + torch.randn_like(picture) * rand() ** 2 * 0.07).clamp(0, 1)


def _blurred(picture: Tensor, sigma: Tensor) -> Tensor:
    count, _, side, _ = picture.shape
    at = torch.arange(-3, 4, device=picture.device).float()
    bell = torch.exp(-(at**2) / (2 * sigma[:, 0] ** 2))
    bell = bell / bell.sum(-1, keepdim=True)
    kernel = (bell[:, :, None, :] * bell[:, :, :, None]).repeat_interleave(3, 0)
    padded = F.pad(picture, (3, 3, 3, 3), "replicate").reshape(1, count * 3, side + 6, side + 6)
    return F.conv2d(padded, kernel, groups=count * 3).view(count, 3, side, side)


def targets(quads: Tensor, side: int) -> Tensor:
    """(B, K, 4, 2) quads in pixels of the maps -> (B, 3, side, side): inside, outline, corners, each 0..1."""
    at = torch.arange(side, device=quads.device) + 0.5
    xs, ys = at.view(1, 1, 1, side), at.view(1, 1, side, 1)
    after = quads.roll(-1, 2)
    area = (quads[..., 0] * after[..., 1] - quads[..., 1] * after[..., 0]).sum(2)
    sense = torch.sign(area)[..., None, None]
    inside, edge, corner = [], [], []
    for k in range(4):
        start, way = quads[:, :, k], after[:, :, k] - quads[:, :, k]
        length = way.norm(dim=-1).clamp_min(1e-3)[..., None, None]
        vx, vy = way[..., 0, None, None], way[..., 1, None, None]
        rx, ry = xs - start[..., 0, None, None], ys - start[..., 1, None, None]
        inside.append((vx * ry - vy * rx) / length * sense)
        t = ((rx * vx + ry * vy) / length**2).clamp(0, 1)
        edge.append((rx - t * vx) ** 2 + (ry - t * vy) ** 2)
        corner.append(rx**2 + ry**2)
    there = present(quads)[..., None, None].float()
    within = (torch.stack(inside).amin(0) + 0.5).clamp(0, 1) * there
    on_edge = torch.exp(-torch.stack(edge).amin(0) / (2 * _EDGE_PX**2)) * there
    at_corner = torch.exp(-torch.stack(corner).amin(0) / (2 * _CORNER_PX**2)) * there
    return torch.stack([within.amax(1), on_edge.amax(1), at_corner.amax(1)], 1)


def loss(maps: Tensor, work: Tensor, quads: Tensor, side: int) -> Tensor:
    """What the network pays: cross-entropy of the three maps and of the single answer, and the mask's overlap."""
    wanted = targets(quads * (maps.shape[-1] / side), maps.shape[-1])
    inside, edge, corner = wanted.unbind(1)
    maps, work = maps.float(), work.float()
    entropy = F.binary_cross_entropy_with_logits
    share = torch.sigmoid(maps[:, 0])
    both = (share * inside).sum((1, 2))
    dice = 1 - (2 * both + 1) / ((share**2).sum((1, 2)) + (inside**2).sum((1, 2)) + 1)
    there = present(quads).any(1).float()[:, None]
    return (
        entropy(maps[:, 0], inside, weight=1 + 4 * edge)
        + dice.mean()
        + entropy(maps[:, 1], edge, weight=1 + 12 * edge)
        + 3 * entropy(maps[:, 2], corner, weight=1 + 60 * corner)
        + 0.3 * entropy(work, there)
    )
