#!/usr/bin/env python3
"""Train the causal beat activation on feature files made by make_training.py.

    train.py --data DIR [--data DIR ...] [--packed DIR] --minutes 9 --hidden 48 --delay 4 --out weights.pt

Network: y = relu(W x + b); two GRU layers; one linear layer of heads.  The
output of frame n speaks of the time (n + 1 - delay) / 100 s.  All items are laid
end to end in a new order each epoch and cut into parallel streams; the state is
carried from chunk to chunk and item to item and is never reset except at random,
so the net must stay stable for hours and find a new band by itself.
"""
import argparse
import json
import tempfile
import time
from multiprocessing import Pool
from pathlib import Path

import numpy as np
import torch
from torch import nn
import torch.nn.functional as F

EVENTS = ("beat", "one", "part", "half", "third")
MODES = ("none", "lead_in", "tune")
PHASES, TEMPI = 24, 16
TEMPO_LOW, TEMPO_HIGH = 84.0, 150.0
HEADS = [("beat", 1), ("one", 1), ("part", 1), ("half", 1), ("third", 1), ("mode", 3), ("phase", PHASES), ("tempo", TEMPI)]
WIDTH = sum(n for _, n in HEADS)


class BeatNet(nn.Module):
    def __init__(self, features, front, hidden):
        super().__init__()
        self.front = nn.Linear(features, front)
        self.gru = nn.GRU(front, hidden, num_layers=2, batch_first=True)
        self.heads = nn.Linear(hidden, WIDTH)
        with torch.no_grad():
            self.heads.bias[:len(EVENTS)] = -3.5            # events are rare

    def forward(self, x, state=None):
        y, state = self.gru(F.relu(self.front(x)), state)
        return self.heads(y), state


def bumps(times, n, width):
    """Soft targets: 1 at an event, falling to 0 at `width` frames; index m stands for (m + 1) / 100 s."""
    y = np.zeros(n, np.float32)
    if len(times):
        c = np.asarray(times) * 100 - 1
        for k in range(-int(width) - 1, int(width) + 2):
            m = np.floor(c).astype(int) + k
            ok = (m >= 0) & (m < n)
            np.maximum.at(y, m[ok], np.maximum(0, 1 - np.abs(m - c) / width)[ok])
    return y


def labels(truth, n, width):
    """Per-frame targets of one item: events [n, 5] float16, classes [n, 3] int8 (mode, phase, tempo), masks."""
    lead, beats = np.array(truth["lead_in"]), np.array(truth["beats"])
    pos = np.array(truth["pos"], int)
    grid = np.concatenate([lead, beats])
    gaps = np.diff(grid)
    events = [grid, beats[(pos >= 0) & (pos % 8 == 0)] if len(beats) else [], beats[(pos >= 0) & (pos % 16 == 0)] if len(beats) else []]
    if truth["compound"]:
        events += [[], np.concatenate([grid[:-1] + gaps / 3, grid[:-1] + gaps * 2 / 3])]
    else:
        events += [grid[:-1] + gaps / 2 if len(grid) > 1 else [], []]
    e = np.stack([bumps(t, n, width) for t in events], 1).astype(np.float16)
    t = (np.arange(n) + 1) / 100
    c = np.full((n, 3), -1, np.int8)
    c[:, 0] = 0
    mask = np.ones(n, np.int8)
    if len(grid) > 1:
        c[(t >= truth["band_from"]) & (t < truth["tune_from"]), 0] = 1
        c[(t >= truth["tune_from"]) & (t < truth["band_to"]), 0] = 2
        c[(t >= truth["band_to"]) & (t < truth["hold_to"]), 0] = -1
        i = np.searchsorted(grid, t, side="right") - 1
        ok = (i >= 0) & (i < len(grid) - 1)
        frac = (t[ok] - grid[i[ok]]) / gaps[i[ok]]
        c[ok, 1] = np.minimum(PHASES - 1, frac * PHASES).astype(np.int8)
        smooth = np.convolve(np.pad(gaps, 2, mode="edge"), np.ones(5) / 5, "valid")
        x = np.log(60 / smooth[i[ok]] / TEMPO_LOW) / np.log(TEMPO_HIGH / TEMPO_LOW)
        c[ok, 2] = np.clip(x * TEMPI, 0, TEMPI - 1).astype(np.int8)
        mask[(t >= truth["band_to"] - 0.03) & (t < truth["hold_to"])] = 0    # a last chord is neither beat nor rest
    for a, b in truth["mask"]:
        mask[(t > a) & (t < b)] = 0
    return e, c, mask


LABEL_WIDTH = 3.0                                        # stored; narrower targets are computed from it


def pack_item(job):
    """Worker of `pack`: write one item's features and labels into the shared files."""
    f, out, at, n, total, dim = job
    truth = json.loads(f.with_suffix(".json").read_text())
    e, c, m = labels(truth, n, LABEL_WIDTH)
    for name, shape, kind, data in (("x", dim, np.float16, np.load(f)), ("events", len(EVENTS), np.float16, e),
                                    ("classes", 3, np.int8, c), ("mask", 1, np.int8, m[:, None])):
        np.memmap(Path(out, name), kind, "r+", shape=(total, shape))[at:at + n] = data


def item_size(f):
    shape = np.load(f, mmap_mode="r").shape
    return shape[0], shape[1]


def pack(folders, out, jobs, limit=None):
    """Lay all items of some folders end to end in four flat files, so that many trainings can share them."""
    files = sorted(f for d in folders for f in Path(d).glob("*.npy") if f.with_suffix(".json").exists())[:limit]
    out = Path(out)
    out.mkdir(parents=True, exist_ok=True)
    with Pool(jobs) as pool:
        sizes = pool.map(item_size, files, chunksize=64)
        dim, total = sizes[0][1], sum(n for n, _ in sizes)
        starts = np.concatenate([[0], np.cumsum([n for n, _ in sizes])])
        for name, width, kind in (("x", dim, np.float16), ("events", len(EVENTS), np.float16), ("classes", 3, np.int8), ("mask", 1, np.int8)):
            np.memmap(out / name, kind, "w+", shape=(total, width)).flush()
        pool.map(pack_item, [(f, out, int(starts[i]), n, total, dim) for i, (f, (n, _)) in enumerate(zip(files, sizes))], chunksize=16)
    np.save(out / "spans.npy", np.stack([starts[:-1], [n for n, _ in sizes]], 1))
    (out / "info.json").write_text(json.dumps(dict(total=int(total), dim=dim, items=len(files))))


class Stock:
    """A packed folder as flat tensors on the device."""

    def __init__(self, packed, device, width, limit=None):
        packed = Path(packed)
        info = json.loads((packed / "info.json").read_text())
        self.spans = np.load(packed / "spans.npy")[:limit]
        self.total = int(self.spans[:, 1].sum())

        def fetch(name, columns, kind):
            data = np.memmap(packed / name, kind, "r", shape=(info["total"], columns))
            out = torch.empty((self.total, columns), dtype=torch.float16 if kind == np.float16 else torch.int8, device=device)
            for i in range(0, self.total, 4_000_000):
                j = min(self.total, i + 4_000_000)
                out[i:j] = torch.from_numpy(np.array(data[i:j])).to(device)
            return out
        self.x = fetch("x", info["dim"], np.float16)
        self.events = fetch("events", len(EVENTS), np.float16)
        for i in range(0, self.total, 4_000_000):            # narrow the stored triangles
            self.events[i:i + 4_000_000] = (1 - (1 - self.events[i:i + 4_000_000].float()) * LABEL_WIDTH / width).clamp_min(0).half()
        self.classes = fetch("classes", 3, np.int8)
        self.mask = fetch("mask", 1, np.int8)[:, 0]

    def order(self, rng):
        perm = rng.permutation(len(self.spans))
        starts = np.array([self.spans[i][0] for i in perm])
        sizes = np.array([self.spans[i][1] for i in perm])
        offset = np.repeat(starts - np.concatenate([[0], np.cumsum(sizes)[:-1]]), sizes)
        return torch.from_numpy(offset + np.arange(self.total)).to(self.x.device)


def loss_of(out, events, classes, mask, a):
    at, total = 0, 0.0
    weight = {"beat": 1.0, "one": 0.25, "part": 0.15, "half": 0.3, "third": 0.3, "mode": a.mode_weight, "phase": 0.08, "tempo": 0.03}
    m = mask.float()
    parts = {}
    for k, (name, n) in enumerate(HEADS):
        y = out[..., at:at + n]
        at += n
        if k < len(EVENTS):
            target = events[..., k].float()
            w = (1 + (a.positive - 1) * target) * m
            parts[name] = (F.binary_cross_entropy_with_logits(y[..., 0], target, reduction="none") * w).mean()
        else:
            target = classes[..., k - len(EVENTS)].long()
            if name != "mode":
                target = torch.where(mask > 0, target, torch.full_like(target, -1))
            ce = F.cross_entropy(y.reshape(-1, n), target.reshape(-1), ignore_index=-1, reduction="sum")
            parts[name] = ce / max(1, target.numel())
        total = total + weight[name] * parts[name]
    return total, parts


def train(a):
    torch.backends.cuda.matmul.allow_tf32 = True
    torch.backends.cudnn.allow_tf32 = True
    torch.manual_seed(a.seed)
    rng = np.random.default_rng(a.seed)
    device = a.device
    began = time.time()
    stock = Stock(a.packed, device, a.width, a.limit)
    print(f"{len(stock.spans)} items, {stock.total / 360000:.1f} h, loaded in {time.time() - began:.0f} s", flush=True)
    model = BeatNet(stock.x.shape[1], a.front, a.hidden).to(device)
    if a.start:
        model.load_state_dict(torch.load(a.start, map_location=device)["model"])
    average = {k: v.clone() for k, v in model.state_dict().items()}
    opt = torch.optim.AdamW(model.parameters(), lr=a.rate, weight_decay=1e-4, betas=(0.9, 0.98))
    began, budget, step, sums, epoch = time.time(), a.minutes * 60, 0, {}, 0
    done = False
    while not done:
        epoch += 1
        order = stock.order(rng)
        length = stock.total // a.streams
        state = None
        for s in range(0, length - a.chunk, a.chunk):
            share = (time.time() - began) / budget
            if share >= 1:
                done = True
                break
            lr = a.rate * min(1, (step + 1) / 100) * (0.5 * (1 + np.cos(np.pi * share)) * 0.98 + 0.02)
            for g in opt.param_groups:
                g["lr"] = lr
            base = torch.arange(a.streams, device=device)[:, None] * length + s + torch.arange(a.chunk, device=device)
            idx = order[base]
            back = order[(base - a.delay).clamp_min(0)]
            x = stock.x[idx].float()
            if a.augment:
                x = x + 0.03 * torch.randn_like(x)
                x[..., 96] += 0.3 * torch.randn(a.streams, 1, device=device)
                band = torch.arange(48, device=device)
                lo = torch.randint(0, 48, (a.streams, 1), device=device)
                hi = lo + torch.randint(2, 14, (a.streams, 1), device=device)
                off = ((band >= lo) & (band < hi)) & (torch.rand(a.streams, 1, device=device) < 0.3)
                x[..., :96] *= 1 - off.float().repeat(1, 2)[:, None, :]
            if state is not None:
                keep = (torch.rand(1, a.streams, 1, device=device) > 0.04).float()
                state = state.detach() * keep
            out, state = model(x, state)
            loss, parts = loss_of(out, stock.events[back], stock.classes[back], stock.mask[back], a)
            opt.zero_grad(set_to_none=True)
            loss.backward()
            nn.utils.clip_grad_norm_(model.parameters(), 1.0)
            opt.step()
            step += 1
            keep = min(0.998, 1 - 1 / (step + 1))
            with torch.no_grad():
                for k, v in model.state_dict().items():
                    average[k].mul_(keep).add_(v, alpha=1 - keep)
            if step % a.report == 0:
                print(f"{time.time() - began:5.0f} s epoch {epoch} step {step} loss {loss.item():.4f} "
                      + " ".join(f"{k} {v.item():.3f}" for k, v in parts.items()), flush=True)
    model.load_state_dict(average)
    config = dict(features=stock.x.shape[1], front=a.front, hidden=a.hidden, delay=a.delay, width=a.width, positive=a.positive,
                  hours=stock.total / 360000, steps=step, epochs=epoch, seed=a.seed, rate=a.rate)
    torch.save(dict(model={k: v.cpu() for k, v in model.state_dict().items()}, config=config), a.out)
    print("saved", a.out, config, flush=True)


def main():
    ap = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    ap.add_argument("--data", action="append", default=[], help="folder of make_training.py")
    ap.add_argument("--packed", help="packed folder: written if --data is given, else read")
    ap.add_argument("--jobs", type=int, default=1)
    ap.add_argument("--out", help="weights; without it only pack")
    ap.add_argument("--minutes", type=float, default=2)
    ap.add_argument("--front", type=int, default=32)
    ap.add_argument("--hidden", type=int, default=40)
    ap.add_argument("--delay", type=int, default=4, help="frames by which the output lags the sound it speaks of")
    ap.add_argument("--width", type=float, default=2.0, help="half width of a beat's target, frames")
    ap.add_argument("--positive", type=float, default=2.0, help="extra weight of frames near an event")
    ap.add_argument("--mode-weight", type=float, default=0.08, help="weight of the mode head's loss")
    ap.add_argument("--streams", type=int, default=256)
    ap.add_argument("--chunk", type=int, default=1500)
    ap.add_argument("--rate", type=float, default=3e-3)
    ap.add_argument("--seed", type=int, default=0)
    ap.add_argument("--limit", type=int)
    ap.add_argument("--augment", type=int, default=1)
    ap.add_argument("--report", type=int, default=50)
    ap.add_argument("--start", help="weights to go on from")
    ap.add_argument("--device", default="cuda" if torch.cuda.is_available() else "cpu")
    a = ap.parse_args()
    with tempfile.TemporaryDirectory() as tmp:
        a.packed = a.packed or tmp
        if a.data:
            pack(a.data, a.packed, a.jobs)
        if a.out:
            train(a)


if __name__ == "__main__":
    main()
