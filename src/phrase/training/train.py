#!/usr/bin/env python3
"""Train the phrase network.

    train.py --imagined imagined_1.npz ... --heard heard.npz ... --check check.npz --minutes 8 --out phrase.pt
             [--hidden 40] [--start OTHER.pt] [--rate 0.004] [--slip 0.001] [--batch 48 --heard-share 6] [--device cpu]

The network gives each beat a logarithm of a weight for each of 64 places.  The
loss is taken on what the engine makes of them: weights multiplied in beat by
beat while the belief moves on by one place, from an even belief, with a small
chance `--slip` of having miscounted; cross-entropy of the place, and of the
count of eight, at every beat.  `imagine.py` and `heard.py` make the
performances, those to check by too.  One core, or a GPU.
"""
import argparse
import time

import numpy as np
import torch
from torch.nn.functional import dropout

from remarks import PLACES, REMARKS


class Net(torch.nn.Module):
    def __init__(self, hidden, dropped=0.4):
        super().__init__()
        self.dropped = dropped
        self.a = torch.nn.Linear(REMARKS, hidden)
        self.g = torch.nn.GRU(hidden, hidden)
        self.o = torch.nn.Linear(hidden, PLACES)
        torch.nn.init.normal_(self.o.weight, 0, 0.01)
        torch.nn.init.zeros_(self.o.bias)

    def forward(self, x):
        y = dropout(torch.relu(self.a(x)), 0.25, self.training)
        y = dropout(self.g(y)[0], self.dropped, self.training)
        e = self.o(y)
        return e - e.mean(-1, keepdim=True)


def beliefs(weights, slip):
    """Log belief after each beat, over the place of the *first* beat (the belief held still)."""
    beats, batch, _ = weights.shape
    arange = lambda n: torch.arange(n, device=weights.device)
    turned = (arange(PLACES)[None, :] + arange(beats)[:, None]) % PLACES
    still = torch.gather(weights, 2, turned[:, None, :].expand(-1, batch, -1))
    belief, out = torch.full((batch, PLACES), -np.log(PLACES), device=weights.device), []
    slipped = torch.tensor(np.log(slip / PLACES), device=weights.device, dtype=weights.dtype)
    for k in range(beats):
        if k:
            belief = torch.logaddexp(belief + np.log(1 - slip), slipped)
        belief = torch.log_softmax(belief + still[k], -1)
        out.append(belief)
    return torch.stack(out)


def check(net, x, y, slip):
    """Share of starts whose count and place are right after 32, 64 and 128 beats; trust in the count."""
    net.eval()
    with torch.no_grad():
        belief = beliefs(net(x), slip).exp()
    beats = len(belief)
    count = belief.view(beats, -1, 8, 8).sum(2)
    first, known = (y - torch.arange(beats, device=y.device)[:, None]) % PLACES, y >= 0
    place_right, count_right = belief.argmax(2) == first, count.argmax(2) == first % 8
    for k in (31, 63, 127):
        print(f"  after {k + 1}: count {count_right[k][known[k]].float().mean():.3f}, place {place_right[k][known[k]].float().mean():.3f}")
    for least in (0.8, 0.9, 0.95):
        sure = (count.max(2)[0] >= least) & known
        print(f"  count said with {least} or more: {sure.sum() / known.sum():.3f}, right then: {count_right[sure].float().mean():.3f}", flush=True)


def main():
    args = argparse.ArgumentParser()
    args.add_argument("--imagined", nargs="+", required=True)
    args.add_argument("--heard", nargs="*", default=[])
    args.add_argument("--check", required=True)
    args.add_argument("--minutes", type=float, default=8)
    args.add_argument("--hidden", type=int, default=40)
    args.add_argument("--rate", type=float, default=4e-3)
    args.add_argument("--slip", type=float, default=1e-3)
    args.add_argument("--batch", type=int, default=48)
    args.add_argument("--heard-share", type=int, default=6, help="performances of a batch that were heard")
    args.add_argument("--seed", type=int, default=0)
    args.add_argument("--dropout", type=float, default=0.4)
    args.add_argument("--device", default="cpu")
    args.add_argument("--start")
    args.add_argument("--out", required=True)
    a = args.parse_args()
    torch.set_num_threads(1)
    torch.manual_seed(a.seed)
    rng = np.random.default_rng(a.seed)
    stock = [np.load(file) for file in a.imagined + a.heard]
    X = torch.cat([torch.tensor(z["X"]) for z in stock]).to(a.device)
    Y = torch.cat([torch.tensor(z["Y"]).long() for z in stock]).to(a.device)
    imagined = sum(len(z["Y"]) for z in stock[:len(a.imagined)])
    del stock
    with np.load(a.check) as z:
        checks = torch.tensor(z["X"], device=a.device).float().transpose(0, 1), torch.tensor(z["Y"], device=a.device).long().T
    net = Net(a.hidden, a.dropout).to(a.device)
    beat = torch.arange(X.shape[1], device=a.device)[:, None]
    if a.start:
        net.load_state_dict(torch.load(a.start, map_location=a.device))
    optimiser = torch.optim.AdamW(net.parameters(), a.rate, weight_decay=0.03)
    began, step = time.time(), 0
    while (done := (time.time() - began) / 60 / a.minutes) < 1:
        for group in optimiser.param_groups:
            group["lr"] = a.rate * min(1, step / 50) * max(0.02, 0.5 * (1 + np.cos(np.pi * done)))
        rows = rng.integers(0, imagined, a.batch)
        if a.heard:
            rows[:a.heard_share] = rng.integers(imagined, len(X), a.heard_share)
        x, y = X[rows].float().transpose(0, 1), Y[rows].T
        x = (x + 0.3 * torch.randn_like(x)) * (torch.rand((1, *x.shape[1:]), device=a.device) > 0.1)
        net.train()
        belief = beliefs(net(x), a.slip)
        count = torch.logsumexp(belief.view(len(y), len(rows), 8, 8), 2)
        known = (y >= 0).float()
        first = (y - beat) % PLACES
        place_loss = -(belief.gather(2, first[:, :, None])[..., 0] * known).sum() / known.sum()
        count_loss = -(count.gather(2, (first % 8)[:, :, None])[..., 0] * known).sum() / known.sum()
        optimiser.zero_grad()
        (place_loss + count_loss).backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        optimiser.step()
        step += 1
        if step % 200 == 0:
            print(step, f"{time.time() - began:.0f} s, loss {float(place_loss + count_loss):.3f}")
            check(net, *checks, a.slip)
    torch.save({name: t.cpu() for name, t in net.state_dict().items()}, a.out)


if __name__ == "__main__":
    main()
