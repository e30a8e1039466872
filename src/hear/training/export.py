#!/usr/bin/env python3
"""Write trained weights as the engine's data file.

    export.py WEIGHTS.pt OUT_DIR

OUT_DIR/weights.bin: little-endian f32, tensors one after another in the order of
weights.json (row-major, PyTorch's layout: GRU gates in the order reset, update,
new; h' = (1 - z) * n + z * h with n = tanh(W_in x + b_in + r * (W_hn h + b_hn))).
"""
import json
import sys
from pathlib import Path

import torch

from train import EVENTS, MODES, PHASES, TEMPI, WIDTH, BeatNet


USED = WIDTH - PHASES - TEMPI                           # the engine's heads; phase and tempo help the training


def engine_name(name):
    """The engine's name for a tensor of the PyTorch model."""
    layer, part = name.split(".")
    if layer == "gru":
        part, number = part.rsplit("_l", 1)
        return f"gru{int(number) + 1}.{part}"
    return {"front": "in", "heads": "out"}[layer] + "." + part


def load(source):
    """The trained network of a file, and how it was set up."""
    saved = torch.load(source, map_location="cpu")
    c = saved["config"]
    model = BeatNet(c["features"], c["front"], c["hidden"])
    model.load_state_dict(saved["model"])
    return model, c


def main():
    source, out = sys.argv[1], Path(sys.argv[2])
    out.mkdir(parents=True, exist_ok=True)
    model, c = load(source)
    tensors, blob = [], b""
    for name, tensor in model.state_dict().items():
        data = tensor.detach().numpy().astype("<f4")
        data = data[:USED] if name.startswith("heads.") else data
        tensors.append(dict(name=engine_name(name), shape=list(data.shape)))
        blob += data.tobytes()
    (out / "weights.bin").write_bytes(blob)
    header = dict(delay_frames=c["delay"], activation="relu", heads=list(EVENTS) + list(MODES), tensors=tensors)
    (out / "weights.json").write_text(json.dumps(header, indent=1) + "\n")
    print(len(blob), "bytes")


if __name__ == "__main__":
    main()
