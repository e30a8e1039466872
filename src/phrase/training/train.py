#!/usr/bin/env python3
"""Train the phrase network.

    train.py --imagined imagined_1.npz ... --recordings DIR ... --check DIR --minutes 8 --out phrase.pt
             [--hidden 40] [--start OTHER.pt] [--rate 0.004] [--slip 0.001]

The network gives each beat a logarithm of a weight for each of 64 places.  The
loss is taken on what the engine makes of them: weights multiplied in beat by
beat while the belief moves on by one place, from an even belief, with a small
chance `--slip` of having miscounted; cross-entropy of the place, and of the
count of eight, at every beat.  `--recordings` are folders of rendered tunes
(NAME.json, NAME.p36: see remarks.py), heard from random beats on.  One core.
"""
import argparse
import time

import numpy as np
import torch
from torch.nn.functional import dropout

from remarks import PLACES, REMARKS, recordings, remarks

BATCH, BEATS, RECORDED = 48, 176, 6


class Net(torch.nn.Module):
    def __init__(self, hidden):
        super().__init__()
        self.a = torch.nn.Linear(REMARKS, hidden)
        self.g = torch.nn.GRU(hidden, hidden)
        self.o = torch.nn.Linear(hidden, PLACES)
        torch.nn.init.normal_(self.o.weight, 0, 0.01)
        torch.nn.init.zeros_(self.o.bias)

    def forward(self, x):
        y = dropout(torch.relu(self.a(x)), 0.25, self.training)
        y = dropout(self.g(y)[0], 0.4, self.training)
        e = self.o(y)
        return e - e.mean(-1, keepdim=True)


def beliefs(weights, slip):
    """Log belief after each beat, over the place of the *first* beat (the belief held still)."""
    beats, batch, _ = weights.shape
    turned = (torch.arange(PLACES)[None, :] + torch.arange(beats)[:, None]) % PLACES
    still = torch.gather(weights, 2, turned[:, None, :].expand(-1, batch, -1))
    belief, out = torch.full((batch, PLACES), -np.log(PLACES)), []
    for k in range(beats):
        if k:
            belief = torch.logaddexp(belief + np.log(1 - slip), torch.tensor(np.log(slip / PLACES)))
        belief = torch.log_softmax(belief + still[k], -1)
        out.append(belief)
    return torch.stack(out)


def check(net, items, slip, beats=128, starts=6):
    """Share of starts whose count and place are right after 32, 64 and 128 beats; trust in the count."""
    rng, X, Y = np.random.default_rng(1), [], []
    for m, place in items:
        for _ in range(starts):
            a = int(rng.integers(0, len(m) - beats + 1))
            X.append(remarks(m[a:a + beats]))
            Y.append(place[a])
    net.eval()
    with torch.no_grad():
        belief = beliefs(net(torch.tensor(np.stack(X, 1))), slip).exp().numpy()
    count, Y = belief.reshape(beats, -1, 8, 8).sum(2), np.array(Y)
    for k in (31, 63, beats - 1):
        print(f"  after {k + 1}: count {np.mean(count[k].argmax(1) == Y % 8):.3f}, place {np.mean(belief[k].argmax(1) == Y):.3f}")
    sure = count.max(2) >= 0.8
    print(f"  count said with 0.8 or more: {sure.mean():.3f}, right then: {(count.argmax(2) == Y % 8)[sure].mean():.3f}", flush=True)


def main():
    args = argparse.ArgumentParser()
    args.add_argument("--imagined", nargs="+", required=True)
    args.add_argument("--recordings", nargs="*", default=[])
    args.add_argument("--check", required=True)
    args.add_argument("--minutes", type=float, default=8)
    args.add_argument("--hidden", type=int, default=40)
    args.add_argument("--rate", type=float, default=4e-3)
    args.add_argument("--slip", type=float, default=1e-3)
    args.add_argument("--start")
    args.add_argument("--out", required=True)
    a = args.parse_args()
    torch.set_num_threads(1)
    torch.manual_seed(0)
    rng = np.random.default_rng(0)
    imagined = [(z["X"], z["Y"]) for z in map(np.load, a.imagined)]
    checks, recorded = list(recordings(a.check)), []
    for m, place in (item for folder in a.recordings for item in recordings(folder)):
        for _ in range(3):
            start = int(rng.integers(0, len(m) - 100))
            recorded.append((remarks(m[start:])[:BEATS], place[start:][:BEATS]))
    net = Net(a.hidden)
    if a.start:
        net.load_state_dict(torch.load(a.start))
    optimiser = torch.optim.AdamW(net.parameters(), a.rate, weight_decay=0.03)
    began, step = time.time(), 0
    while (done := (time.time() - began) / 60 / a.minutes) < 1:
        for group in optimiser.param_groups:
            group["lr"] = a.rate * min(1, step / 50) * max(0.02, 0.5 * (1 + np.cos(np.pi * done)))
        X, Y = np.zeros((BEATS, BATCH, REMARKS), np.float32), np.full((BEATS, BATCH), -1)
        for b in range(BATCH):
            if recorded and b < RECORDED:
                x, y = recorded[rng.integers(len(recorded))]
            else:
                some = imagined[rng.integers(len(imagined))]
                i = rng.integers(len(some[0]))
                x, y = some[0][i], some[1][i]
            X[:len(x), b], Y[:len(y), b] = x, y
        x, y = torch.tensor(X), torch.tensor(Y)
        x = (x + 0.3 * torch.randn_like(x)) * (torch.rand(1, BATCH, REMARKS) > 0.1)
        net.train()
        belief = beliefs(net(x), a.slip)
        count = torch.logsumexp(belief.view(BEATS, BATCH, 8, 8), 2)
        known = (y >= 0).float()
        first = (y - torch.arange(BEATS)[:, None]) % PLACES
        place_loss = -(belief.gather(2, first[:, :, None])[..., 0] * known).sum() / known.sum()
        count_loss = -(count.gather(2, (first % 8)[:, :, None])[..., 0] * known).sum() / known.sum()
        optimiser.zero_grad()
        (place_loss + count_loss).backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        optimiser.step()
        step += 1
        if step % 200 == 0:
            print(step, f"{time.time() - began:.0f} s, loss {float(place_loss + count_loss):.3f}")
            check(net, checks, a.slip)
    torch.save(net.state_dict(), a.out)


if __name__ == "__main__":
    main()
