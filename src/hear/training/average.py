#!/usr/bin/env python3
"""Average the weights of trainings that began at the same weights: average.py IN.pt IN.pt ... OUT.pt

(Wortsman et al., "Model soups: averaging weights of multiple fine-tuned models improves accuracy without
increasing inference time", ICML 2022.)
"""
import sys

import torch


def main():
    *sources, out = sys.argv[1:]
    saved = [torch.load(s, map_location="cpu") for s in sources]
    model = {k: sum(s["model"][k] for s in saved) / len(saved) for k in saved[0]["model"]}
    torch.save(dict(model=model, config=saved[0]["config"]), out)


if __name__ == "__main__":
    main()
