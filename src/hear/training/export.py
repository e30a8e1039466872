#!/usr/bin/env python3
"""Write trained weights as the engine's data file, with a test vector.

    export.py WEIGHTS.pt FEATURES.npy OUT_DIR

OUT_DIR/weights.bin: little-endian f32, tensors one after another in the order of
weights.json (row-major, PyTorch's layout: GRU gates in the order reset, update,
new; h' = (1 - z) * n + z * h with n = tanh(W_in x + b_in + r * (W_hn h + b_hn))).
OUT_DIR/test_input.f32 (200 x features) and test_output.f32 (200 x outputs, raw
values before sigmoid / softmax, state zero at the first frame) check an inference.
"""
import json
import sys
from pathlib import Path

import numpy as np
import torch

from train import EVENTS, MODES, PHASES, TEMPI, WIDTH, BeatNet


def engine_name(name):
    """The engine's name for a tensor of the PyTorch model."""
    layer, part = name.split(".")
    if layer == "gru":
        part, number = part.rsplit("_l", 1)
        return f"gru{int(number) + 1}.{part}"
    return {"front": "in", "heads": "out"}[layer] + "." + part


def main():
    source, features, out = sys.argv[1:4]
    out = Path(out)
    out.mkdir(parents=True, exist_ok=True)
    saved = torch.load(source, map_location="cpu")
    c = saved["config"]
    model = BeatNet(c["features"], c["front"], c["hidden"])
    model.load_state_dict(saved["model"])
    # The engine uses the first heads only; phase and tempo help the training.
    used = WIDTH - PHASES - TEMPI
    tensors, blob = [], b""
    for name, tensor in model.state_dict().items():
        data = tensor.detach().numpy().astype("<f4")
        data = data[:used] if name.startswith("heads.") else data
        tensors.append(dict(name=engine_name(name), shape=list(data.shape)))
        blob += data.tobytes()
    (out / "weights.bin").write_bytes(blob)
    header = dict(delay_frames=c["delay"], activation="relu", heads=list(EVENTS) + list(MODES), tensors=tensors)
    (out / "weights.json").write_text(json.dumps(header, indent=1) + "\n")
    x = torch.from_numpy(np.load(features)[300:500].astype(np.float32))
    with torch.no_grad():
        y, _ = model(x[None])
    x.numpy().astype("<f4").tofile(out / "test_input.f32")
    y[0, :, :used].numpy().astype("<f4").tofile(out / "test_output.f32")
    print(len(blob), "bytes")


if __name__ == "__main__":
    main()
