"""One GPU or several of one machine, each a process of its own (`torchrun --nproc-per-node N -m tests.lab.eye ...`).

Every card has its own pool of scenes; the gradients are averaged, so that the weights stay the same on all.
"""

import os

import torch
import torch.distributed as dist
from torch import nn


class Cards:
    """This process's card among those that train together; alone where no launcher says otherwise."""

    def __init__(self) -> None:
        self.count, self.rank = int(os.environ.get("WORLD_SIZE", "1")), int(os.environ.get("RANK", "0"))
        if torch.cuda.is_available():
            self.device = f"cuda:{os.environ.get('LOCAL_RANK', '0')}"
            torch.cuda.set_device(self.device)
        else:
            self.device = "cpu"
        if self.count > 1:
            dist.init_process_group("nccl" if torch.cuda.is_available() else "gloo")

    @property
    def first(self) -> bool:
        """Whether this is the one that writes."""
        return self.rank == 0

    def agree(self, spent_s: float, over: bool) -> tuple[float, bool]:
        """The first card's clock, and whether any card's time is over: the same answer on all."""
        if self.count == 1:
            return spent_s, over
        clock = torch.tensor([spent_s if self.first else 0.0, float(over)], dtype=torch.float64, device=self.device)
        dist.all_reduce(clock)
        spent, votes = clock.tolist()
        return spent, votes > 0

    def average_gradients(self, net: nn.Module) -> None:
        """Puts the mean of all cards' gradients in place of this card's."""
        if self.count == 1:
            return
        gradients = [p.grad for p in net.parameters() if p.grad is not None]
        flat = torch.cat([g.reshape(-1) for g in gradients])
        dist.all_reduce(flat)
        flat /= self.count
        for own, mean in zip(gradients, flat.split([g.numel() for g in gradients]), strict=True):
            own.copy_(mean.view_as(own))

    def leave(self) -> None:
        """Ends the work together."""
        if self.count > 1:
            dist.barrier()
            dist.destroy_process_group()
