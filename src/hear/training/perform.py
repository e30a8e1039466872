"""One performance: which tunes, how often, who plays, and every note of it (band.py plays them)."""
import numpy as np

import band


def pick_tune(rng, pool, kind):
    if rng.random() < 0.12:
        return band.invent_tune(rng, kind)
    stock = pool[kind]
    tune = stock[int(rng.integers(len(stock)))]
    return band.hybrid(rng, tune, stock[int(rng.integers(len(stock)))]) if rng.random() < 0.35 else tune


def plan(rng, pool, start_only=False):
    """Segments of a performance: (tune, shift, first, last, start); and the tune position of each beat."""
    kind = str(rng.choice(["reel", "jig", "hornpipe"], p=[0.42, 0.42, 0.16]))
    if start_only:                                            # how a band begins, many times over
        n = int(rng.integers(10, 37))
        return kind, [(pick_tune(rng, pool, kind), int(rng.integers(-6, 7)), 0, n, 0)], list(range(n))
    tunes = [pick_tune(rng, pool, kind) for _ in range(int(rng.choice([1, 2, 3], p=[0.65, 0.25, 0.1])))]
    times = [1] * 3 if len(tunes) == 3 else [int(rng.integers(1, 3)) for _ in tunes] if len(tunes) == 2 \
        else [int(rng.choice([1, 2, 3], p=[0.25, 0.5, 0.25]))]
    segments, pos, crooked = [], [], rng.random() < 0.04
    mishap = rng.random() < 0.07
    for tune, n in zip(tunes, times):
        shift = int(rng.integers(-6, 7))
        for _ in range(n):
            cuts = [(0, 48)] if crooked else [(0, band.TUNE_BEATS)]
            if mishap and rng.random() < 0.5:
                k = int(rng.integers(2, 31)) * 2
                cuts = [(0, k), (k + 2, 64)] if rng.random() < 0.5 else [(0, k), None, (k, 64)]
            for cut in cuts:
                if cut is None:
                    extra = int(rng.choice([2, 2, 4, 8]))
                    segments.append((None, 0, 0, extra, len(pos)))
                    pos += [-1] * extra
                else:
                    segments.append((tune, shift, *cut, len(pos)))
                    pos += list(range(*cut))
    return kind, segments, pos


def perform(rng, pool, start_only=False):
    kind, segments, pos = plan(rng, pool, start_only)
    jig, n = kind == "jig", len(pos)
    first_tune, first_shift = segments[0][0], segments[0][1]
    no_lead = rng.random() < 0.06
    lead = 0 if no_lead else 8 if rng.random() < 0.04 else 4
    jumps = {lead + s[4]: rng.uniform(0.96, 1.05) for k, s in enumerate(segments)
             if k and s[0] is not segments[k - 1][0] and rng.random() < 0.5}
    if rng.random() < 0.05:
        jumps[int(rng.integers(lead + 16, lead + n))] = rng.choice([0.92, 1.08])
    spm = float(np.clip(rng.normal(113, 8), 92, 134))
    grid = band.tempo_grid(rng, lead + n + 5, spm, rng.choice([0, 0, rng.uniform(-0.03, 0.12)]), rng.uniform(0.01, 0.05), jumps)
    before = 0.5 + (rng.uniform(0, 1.5) if rng.random() < 0.5 else rng.uniform(1, 8))
    grid += before
    swing = 0.0 if jig or first_tune["dotted"] else rng.uniform(0.06, 0.16) if kind == "hornpipe" else rng.choice([0, 0, rng.uniform(0, 0.1)])
    stage = band.Stage(rng, grid, jig, swing, rng.choice([0, rng.uniform(0, 0.06)]))

    names = rng.choice(band.VOICE_NAMES, 2, replace=False, p=band.VOICE_ODDS)
    lead_voice = band.player(rng, str(names[0]), 0, 0)
    parts = {}
    for tune, shift, *_ in segments:
        if tune is not None and id(tune) not in parts:
            chords, tonic = band.harmonise(rng, tune["notes"], int(rng.choice([2, 2, 2, 4])))
            parts[id(tune)] = ([((r + shift) % 12, t) for r, t in chords], (tonic + shift) % 12)
    tonic = parts[id(first_tune)][1]
    lead_voice["drone_pitch"] = 48 + tonic
    band.melody(stage, rng, lead_voice, segments, lead)
    if rng.random() < 0.35:                                   # a second melody player
        second = band.player(rng, str(names[1]) if rng.random() < 0.7 else str(names[0]), 0, 8)
        second["level"] -= rng.uniform(0, 15)
        band.melody(stage, rng, second, segments, lead)
    kind_of_backup = str(rng.choice(list(band.BACKUPS), p=np.array(list(band.BACKUPS.values())) / sum(band.BACKUPS.values())))
    last_chords = parts[id(first_tune)][0]
    enter = 64 if kind_of_backup != "none" and n > 64 and rng.random() < 0.06 else 0
    for tune, _, first, last, start in segments:
        chords = parts[id(tune)][0][first:last] if tune is not None else last_chords[-1:] * (last - first)
        if tune is not None:
            last_chords = chords
        if start >= enter and kind_of_backup != "none":
            band.backup(stage, rng, kind_of_backup, chords, lead, start, last - first, first % 2)
    style = "none"
    if lead:
        style = str(rng.choice(list(band.LEAD_INS), p=np.array(list(band.LEAD_INS.values())) / sum(band.LEAD_INS.values())))
        band.lead_in(stage, rng, style, lead, tonic, first_tune["pickup"], lead_voice)

    if lead_voice["bowed"] and rng.random() < 0.5:            # a plucked edge on bowed notes, as some players bite
        bite = rng.uniform(0.3, 0.7)
        stage.events += [(0, 11, 45, e[3], e[3] + 0.06, e[5], int(np.clip(e[6] * bite, 15, 127)))
                         for e in stage.events if e[0] < 2 and e[2] in (40, 41, 42, 110)]

    mask, end = [], float(grid[lead + n])
    hold = end
    if rng.random() < 0.5:                                    # a last chord or note held
        hold = end + rng.uniform(0.5, 3.5)
        for group, ch, prog, tones in ((0, 0, lead_voice["program"], (60 + tonic, 67 + tonic)),
                                       (1, 1, 0, (36 + tonic, 48 + tonic, 52 + tonic, 55 + tonic))):
            if group == 0 or kind_of_backup.startswith("piano"):
                for tone in tones:
                    stage.play(group, ch, prog, lead + n, (hold - end) * 1.8, tone, 92, 0.01)
    events = stage.events
    if n > 96 and rng.random() < 0.06:                        # a breakdown: melody, or all, stop for a while
        at = float(grid[lead + int(rng.integers(4, n // 8)) * 8])
        gap, alone = rng.uniform(3, 6), rng.random() < 0.5
        events = [e for e in events if not (at - 0.05 < e[3] < at + gap and (alone or e[0] == 0))]
        if alone or kind_of_backup == "none":
            mask.append((at + 0.4, at + gap))
    if before > 2.5 and rng.random() < 0.4:                   # tuning and noodling before the lead-in
        now, limit = rng.uniform(0, 1), before - 0.9
        while now < limit - 0.2:
            dur = min(rng.uniform(0.1, 1.4), limit - now)
            p = int(rng.choice([55, 62, 69, 76])) if rng.random() < 0.6 else int(60 + tonic + rng.choice(band.MAJOR))
            for tone in (p, p + 7)[:int(rng.integers(1, 3))]:
                stage.add(0, 0, lead_voice["program"], now, now + dur, tone, rng.uniform(40, 85))
            now += dur + rng.choice([0.02, rng.uniform(0.05, 0.6)])
    info = dict(title=first_tune["title"], kind=kind, voice=lead_voice["name"], backup=kind_of_backup, lead=style,
                tunes=len(parts), spm=round(spm, 1))
    scrape = [(e[3], e[6]) for e in events if e[0] == 0 and e[2] in (40, 41, 42, 110)]
    return dict(grid=grid, lead=lead, pos=pos, events=events, end=end, hold=hold, mask=mask, compound=jig, info=info,
                scrape=scrape, start=float(grid[0]))


def soft_bows(rng, events):
    """Slower attacks, in timecents, for a third of the bowed channels: not every bow bites."""
    return {ch: int(rng.uniform(1500, 4500)) for ch in sorted({e[0] for e in events if e[1] in (40, 41, 42, 110)})
            if rng.random() < 0.35}
