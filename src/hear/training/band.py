"""How an imagined dance band plays a tune: notes, backup, lead-in, ending.

Times are kept in *beats* (a dancer's step) until the last moment; `Stage.at`
turns a beat position into seconds along a wandering tempo and adds the scatter
of human hands.  The truth is the tempo grid itself, before any scatter.
Musical habits here (boom-chuck backing, shuffle lead-ins, rolls and cuts) are
common practice among dance musicians; all numbers are choices of this file.
"""
import numpy as np

TUNE_BEATS = 64
MAJOR = np.array([0, 2, 4, 5, 7, 9, 11])
# name -> (General MIDI programs, octave shifts to pick from, share of a note that sounds, bowed?)
VOICES = {
    "fiddle": ((40, 40, 40, 110), (0,), 0.97, True),
    "viola": ((41,), (0, -1), 0.97, True),
    "cello": ((42,), (-1,), 0.97, True),
    "flute": ((73,), (0, 1), 0.95, False),
    "whistle": ((72, 74, 75, 78, 79), (0, 1), 0.95, False),
    "clarinet": ((71,), (0, -1), 0.93, False),
    "reed": ((64, 65, 68, 69), (0, -1), 0.9, False),
    "accordion": ((21,), (0,), 0.93, False),
    "concertina": ((20, 22, 23), (0, 1), 0.9, False),
    "mandolin": ((24, 25, 27), (0,), 0.9, False),
    "banjo": ((105,), (0,), 0.9, False),
    "hammered dulcimer": ((15,), (0,), 1.5, False),
    "harp": ((46,), (0,), 1.6, False),
    "piano": ((0, 1, 2, 6), (0, 1), 0.95, False),
    "mallets": ((8, 9, 11, 12, 13, 108), (0,), 1.2, False),
    "plucked": ((45, 104, 106, 107, 26), (0,), 1.0, False),
    "brass": ((56, 59, 60), (0, -1), 0.85, False),
    "pipes": ((109, 111), (0,), 1.0, False),
    "organ": ((16, 19), (0,), 0.95, False),
}
VOICE_NAMES = list(VOICES)
VOICE_ODDS = np.array([7] + [0.5, 0.4, 2.5, 2, 1.4, 1, 2.5, 1.8, 2.5, 2, 2, 1.2, 1.5, 0.8, 0.7, 0.5, 0.7, 0.5])
VOICE_ODDS = VOICE_ODDS / VOICE_ODDS.sum()
BACKUPS = {"none": 7, "piano": 6, "guitar": 3, "guitar+bass": 4, "squeezed chords": 1.5, "plucked roll": 1.2,
           "bass+drums": 1.2, "frame drum": 1.2, "chop": 1.2, "piano+bass+guitar": 1.5, "drone": 0.8}


def tempo_grid(rng, beats, spm, speed_up, wander, jumps):
    """Times (s) of `beats`+1 grid lines.  `jumps` maps a beat to a tempo factor from there on."""
    step, walk, dev = rng.uniform(0.003, 0.007), 0.0, []
    for _ in range(beats):
        walk = float(np.clip(0.985 * walk + rng.normal(0, step), -wander, wander))
        dev.append(walk)
    dev = np.convolve(np.pad(dev, 4, mode="edge"), np.ones(9) / 9, "valid")
    rate = spm * (1 + dev) * (1 + speed_up * np.linspace(-0.5, 0.5, beats))
    for beat, factor in jumps.items():
        rate[beat:] *= factor
    return np.concatenate([[0.0], np.cumsum(60.0 / np.clip(rate, 84, 150))])


def harmonise(rng, notes, hold=2):
    """(root, third) of a diatonic triad for each beat, changed every `hold` beats; and the tonic."""
    weight = np.zeros((TUNE_BEATS, 12))
    for on, off, p in notes:
        if 0 <= on < TUNE_BEATS:
            weight[int(on), p % 12] += (off - on) * (1.5 if abs(on - round(on)) < 0.02 else 1)
    total = weight.sum(0)
    home = notes[-1][2] % 12
    tonic = max(range(12), key=lambda k: total[(k + MAJOR) % 12].sum() + 0.02 * total.sum() * (k == home))
    triads = [(0, 4), (5, 4), (7, 4), (2, 3), (9, 3)]
    chords = []
    for b in range(0, TUNE_BEATS, hold):
        w = weight[b:b + hold].sum(0)
        scores = [(w[(tonic + r) % 12] + w[(tonic + r + t) % 12] + w[(tonic + r + 7) % 12])
                  * (1.1 if t == 4 else 1.0) * rng.uniform(0.9, 1.1) for r, t in triads]
        root, third = triads[int(np.argmax(scores))]
        chords += [((tonic + root) % 12, third)] * hold
    return chords, tonic


def invent_tune(rng, kind):
    """A made-up AABB tune of 64 beats: motifs on a scale, repeated, with cadences."""
    jig = kind == "jig"
    cells = ([[1 / 3] * 3, [2 / 3, 1 / 3], [1 / 3, 2 / 3], [1.0]] if jig
             else [[0.25] * 4, [0.5, 0.25, 0.25], [0.25, 0.25, 0.5], [0.5, 0.5], [0.25, 0.5, 0.25], [1.0]])
    odds = np.array([6, 3, 0.4, 0.5] if jig else [6, 1.5, 1.5, 2, 0.4, 0.4])
    tonic = int(rng.integers(55, 67))
    mode = int(rng.choice([0, 0, 0, 1, 5]))            # major, dorian, minor
    scale = np.concatenate([(np.roll(MAJOR, -mode) - MAJOR[mode]) % 12 + 12 * o for o in range(3)])
    step_odds = np.array([1, 3, 8, 3, 8, 3, 1.0])

    def bar(beats, degree):
        out = []
        for _ in range(beats):
            for length in cells[rng.choice(len(cells), p=odds / odds.sum())]:
                out.append((length, degree))
                degree = int(np.clip(degree + rng.choice(np.arange(-3, 4), p=step_odds / step_odds.sum()), 0, 16))
        return out, degree

    def part(start):
        first, d = bar(4, start)
        answer, d = bar(4, d)
        turn, _ = bar(3, d) if rng.random() < 0.5 else bar(2, d)
        left = 4 - round(sum(x[0] for x in turn))
        close = [(1.0, int(rng.choice([7, 7, 4])))] * left
        half = first + answer
        again = (first if rng.random() < 0.75 else bar(4, start)[0]) + turn + close
        return half + again

    notes = []
    for index, seq in enumerate((a := part(int(rng.integers(5, 10))), a, b := part(int(rng.integers(8, 13))), b)):
        now = index * 16.0
        for length, degree in seq:
            notes.append((now, now + length, int(tonic + scale[degree])))
            now += length
    return dict(title="invented", kind=kind, dotted=False, pickup=0.0, notes=notes)


def hybrid(rng, one, two):
    """The A part of one tune with the B part of another, moved to the same final note."""
    shift = (one["notes"][-1][2] - two["notes"][-1][2] + 6) % 12 - 6
    notes = [n for n in one["notes"] if n[0] < 31.99]
    notes = [(a, min(b, 32.0), p) for a, b, p in notes]
    notes += [(a, b, p + shift) for a, b, p in two["notes"] if a >= 31.99]
    return dict(one, title=one["title"] + " + " + two["title"], notes=notes,
                dotted=one["dotted"] and two["dotted"])


class Stage:
    """Collects events (group, channel, program, on, off, pitch, velocity) on a tempo grid."""

    def __init__(self, rng, grid, jig, swing, lilt):
        self.rng, self.grid, self.jig, self.swing, self.lilt = rng, grid, jig, swing, lilt
        self.index, self.events = np.arange(len(grid)), []

    def at(self, pos, scatter):
        beat, frac = divmod(pos + 1e-9, 1)
        if self.jig and self.lilt:                      # a long first eighth, a short second
            frac = np.interp(frac, [0, 1 / 3, 2 / 3, 1], [0, 1 / 3 + self.lilt, 2 / 3 + self.lilt / 2, 1])
        elif self.swing:
            half, f = divmod(frac * 2, 1)
            f = f * (0.5 + self.swing) / 0.5 if f < 0.5 else 1 - (1 - f) * (0.5 - self.swing) / 0.5
            frac = (half + f) / 2
        return float(np.interp(beat + frac, self.index, self.grid)) + self.rng.normal(0, scatter)

    def play(self, group, channel, program, pos, length, pitch, velocity, scatter, lag=0.0):
        on = self.at(pos, scatter) + lag
        i = int(np.clip(pos, 0, len(self.grid) - 2))
        self.add(group, channel, program, on, on + max(0.04, length * (self.grid[i + 1] - self.grid[i])),
                 pitch, velocity)

    def add(self, group, channel, program, on, off, pitch, velocity):
        pitch = int(pitch)
        while pitch > 105:
            pitch -= 12
        while pitch < 24:
            pitch += 12
        self.events.append((group, channel, int(program), max(0.0, on), off, pitch,
                            int(np.clip(velocity, 15, 127))))


def melody(stage, rng, style, segments, lead, harmony=None):
    """One melody player over the whole performance.

    `segments` lists (tune, shift in semitones, first tune beat, last tune beat, performance beat).
    """
    sd, ch, prog, group = style["scatter"], style["channel"], style["program"], style["group"]
    busy_until = 0.0
    for tune, shift, first, last, start in segments:
        if tune is None:
            continue
        for on, off, p in tune["notes"]:
            if on > last - 0.01 or (on < first and not (first == 0 and on < 0)):
                continue
            pos = lead + start + on - first
            if pos < busy_until - 0.02 or pos < 0:
                continue
            length = min(off, last) - on
            on_beat = abs(on - round(on)) < 0.02
            if not on_beat and rng.random() < style["drop"]:
                continue
            busy_until = pos + length * 0.5
            vel = style["level"] + rng.normal(0, style["rough"])
            if on_beat:
                vel += style["accent"] * (1.3 if round(on) % 2 == 0 else 1)
            elif abs(2 * on - round(2 * on)) < 0.02 and not stage.jig:
                vel += style["backbeat"]
            pitch = p + shift + 12 * style["octave"]
            if harmony:
                pitch += harmony
            if rng.random() < style["vary"]:
                pitch += int(rng.choice([-12, -2, 2, 3, 5, 12]))
            quick = 60 / 115 * length
            if style["ornament"] and rng.random() < style["ornament"]:
                t = stage.at(pos, sd)
                if length > 0.6 and rng.random() < 0.6:          # a roll: five quick notes
                    edges = t + np.array([0, 0.28, 0.4, 0.66, 0.78, 1.0]) * quick
                    for k, d in enumerate((0, 2, 0, -2, 0)):
                        stage.add(group, ch, prog, edges[k], edges[k + 1] - 0.005, pitch + d, vel - 6 * (k % 2))
                    continue
                grace = rng.uniform(0.025, 0.055)                # a cut, before or on the beat
                early = grace if rng.random() < 0.5 else 0.0
                stage.add(group, ch, prog, t - early, t - early + grace, pitch + rng.choice([2, 3, 5]), vel - 4)
                stage.add(group, ch, prog, t - early + grace, t + max(0.06, quick * style["sound"]), pitch, vel)
                continue
            if length > 0.45 and rng.random() < style["split"]:  # one long note bowed twice
                stage.play(group, ch, prog, pos, length / 2 * style["sound"], pitch, vel, sd, style["lag"])
                stage.play(group, ch, prog, pos + length / 2, length / 2 * style["sound"], pitch, vel - 8, sd,
                           style["lag"])
                continue
            stage.play(group, ch, prog, pos, length * style["sound"], pitch, vel, sd, style["lag"])
            if style["drone"] and rng.random() < style["drone"]:
                stage.play(group, ch, prog, pos, length * style["sound"], style["drone_pitch"] + shift, vel - 15, sd)


def player(rng, name, group, channel):
    programs, octaves, sound, bowed = VOICES[name]
    return dict(name=name, program=int(rng.choice(programs)), octave=int(rng.choice(octaves)), group=group,
                sound=sound * rng.uniform(0.75, 1.03), channel=channel, bowed=bowed,
                scatter=rng.uniform(0.004, 0.02) * rng.choice([0.6, 1.0, 1.0]), lag=rng.normal(0, 0.004),
                level=rng.uniform(70, 95), rough=rng.uniform(3, 9), accent=rng.uniform(0, 20),
                backbeat=rng.choice([0, 4, 4, rng.uniform(5, 22)]), drop=rng.choice([0, 0, rng.uniform(0, 0.1)]),
                vary=rng.choice([0, rng.uniform(0, 0.08)]), ornament=rng.choice([0, 0, rng.uniform(0.02, 0.2)]),
                split=rng.choice([0, rng.uniform(0, 0.5)]),
                drone=rng.choice([0, 0, 0, rng.uniform(0.1, 0.7)]) if bowed else 0.0, drone_pitch=55)


def backup(stage, rng, kind, chords, lead, first, beats, bar_even):
    """Backing for performance beats `first`..`first+beats`; `chords[i]` belongs to the i-th of them."""
    jig, off = stage.jig, 2 / 3 if stage.jig else 0.5
    sd, loud = rng.uniform(0.003, 0.011), rng.uniform(-16, 10)
    v = lambda base: base + loud + rng.normal(0, 5)
    habit = rng.random()
    piano = int(rng.choice([0, 0, 1, 2, 3, 4]))
    guitar = int(rng.choice([24, 25, 25, 26, 27]))
    bass_prog = int(rng.choice([32, 32, 33, 43]))
    squeeze = int(rng.choice([20, 21, 22, 23, 19]))
    drums = [("kick", 36), ("snare", rng.choice([38, 40, 37])), ("hat", rng.choice([42, 44, 70, 69]))]
    frame = [int(x) for x in rng.choice([41, 43, 45, 47, 64, 61, 66], 2)]
    push = rng.choice([0, 0, 0, 0.25]) if not jig else 0.0       # now and then a syncopated chord
    for i in range(beats):
        pos, (root, third) = lead + first + i, chords[i]
        strong = (i + bar_even) % 2 == 0
        low = 36 + (root - 36) % 12 + (0 if strong else rng.choice([7, 7, 0, -5]))
        mid = 50 + (root - 50) % 12
        triad = (mid, mid + third, mid + 7)

        def chord(ch, prog, p, dur, vel, strum=0.0, up=False):
            t = stage.at(p, sd)
            tones = triad + (mid + 12,)
            for k, tone in enumerate(reversed(tones) if up else tones):
                stage.add(1, ch, prog, t + strum * k, t + strum * k + dur * 0.52, tone, vel + rng.normal(0, 3))

        if kind in ("piano", "piano+bass+guitar"):
            if habit < 0.85 or strong:
                for tone in (low, low - 12 if low > 40 else low + 12):
                    stage.play(1, 1, piano, pos, 0.45, tone, v(82), sd)
            chord(1, piano, pos + off - (push if rng.random() < 0.15 else 0), 0.25, v(70))
            if habit > 0.7:
                chord(1, piano, pos, 0.25, v(62))
            if habit < 0.15 and not jig and rng.random() < 0.5:
                stage.play(1, 1, piano, pos + 0.5, 0.4, low + 2, v(72), sd)
        if kind in ("guitar", "guitar+bass", "piano+bass+guitar"):
            if kind != "guitar":
                if habit < 0.8 or strong:
                    stage.play(1, 4, bass_prog, pos, 0.6, low - 12 if low > 40 else low, v(90), sd)
            elif habit < 0.6:
                stage.play(1, 3, guitar, pos, 0.5, low, v(84), sd)
            strokes = [(0, 58), (off, 76)] if habit < 0.5 else [(0, 74), (off, 70)] if habit < 0.7 else \
                ([(0, 66), (1 / 3, 50), (2 / 3, 72)] if jig else [(0, 64), (0.25, 44), (0.5, 80), (0.75, 56)])
            for p, vel in strokes:
                if rng.random() > 0.06:
                    chord(3, guitar, pos + p, 0.3, v(vel), rng.uniform(0.003, 0.012), up=p not in (0, off))
        if kind == "squeezed chords":
            if habit < 0.4:
                chord(5, squeeze, pos + off, 0.3, v(66))
                stage.play(1, 5, squeeze, pos, 0.4, low + 12, v(70), sd)
            elif i % 2 == 0:
                chord(5, squeeze, pos, 1.9 * 1.9, v(58))
        if kind == "plucked roll":
            grid = (0, 1 / 3, 2 / 3) if jig else (0, 0.25, 0.5, 0.75)
            for k, p in enumerate(grid):
                tone = (triad + (mid + 12,))[(k * (3 if habit < 0.5 else 1) + i) % 4]
                stage.play(1, 6, 105 if habit < 0.6 else 46, pos + p, 0.4, tone, v(82 if p == 0 else 68), sd)
        if kind == "bass+drums":
            stage.play(1, 4, bass_prog, pos, 0.7, low - 12 if low > 40 else low, v(88), sd)
            stage.play(2, 9, 0, pos, 0.2, 36, v(84), sd)
            stage.play(2, 9, 0, pos + off, 0.2, int(drums[1][1]), v(76), sd)
            for p in ((0, 1 / 3, 2 / 3) if jig else (0, 0.5) if habit < 0.5 else (0, 0.25, 0.5, 0.75)):
                stage.play(2, 9, 0, pos + p, 0.1, int(drums[2][1]), v(58), sd)
        if kind == "frame drum":
            for p in ((0, 1 / 3, 2 / 3) if jig else (0, 0.25, 0.5, 0.75)):
                hard = p == 0 or (habit > 0.5 and abs(p - off) < 0.01)
                if hard or rng.random() < 0.7:
                    stage.play(2, 9, 0, pos + p, 0.2, frame[0] if hard else frame[1], v(90 if hard else 58), sd)
        if kind == "chop":                                       # off-beat chops, with or without a bass
            chord(3, guitar, pos + off, 0.12, v(84), 0.003)
            if habit < 0.5:
                stage.play(1, 4, bass_prog, pos, 0.6, low - 12 if low > 40 else low, v(80), sd)
        if kind == "drone" and i % 8 == 0:
            for tone in (chords[0][0] + 36, chords[0][0] + 43):
                stage.play(1, 7, 109 if habit < 0.4 else squeeze, pos, 7.9, tone, v(60), sd)


LEAD_INS = {"shuffle": 5, "strokes": 2, "piano": 2.5, "guitar": 1.5, "clicks": 1.2, "stomps": 1.0, "count": 1.2,
            "drone shuffle": 0.5, "melody note": 0.8}


def lead_in(stage, rng, kind, beats, tonic, pickup, voice):
    """Notes of the lead-in; foot stomps and spoken counts are added later as sound."""
    jig = stage.jig
    base = 55 + (tonic - 55) % 12
    full = [(0, 0.4, 100), (2 / 3, 0.25, 78)] if jig else [(0, 0.42, 100), (0.5, 0.2, 80), (0.75, 0.2, 72)]
    thirds = [(0, 0.3, 98), (1 / 3, 0.2, 70), (2 / 3, 0.25, 78)]
    figure = full if rng.random() < 0.7 or not jig else thirds
    if kind in ("strokes", "melody note"):
        figure = [(0, rng.uniform(0.3, 0.9), 96)]
    loud = rng.uniform(-25, 8)
    for b in range(beats):
        for p, dur, vel in ([(0, 0.2, 95)] if kind == "clicks" else figure if kind not in ("stomps", "count") else []):
            if p > 0 and b + p >= beats - pickup - 0.01:
                continue
            vel = vel + loud + rng.normal(0, 4)
            if kind == "clicks":
                stage.play(2, 9, 0, b, dur, rng.choice([31, 37, 75, 76]), vel, 0.006)
            elif kind == "piano":
                chordal = p > 0 or rng.random() < 0.3
                for tone in ((base, base + 4, base + 7) if chordal else (base - 12, base - 24)):
                    stage.play(1, 1, 0, b + p, dur, tone, vel - 10, 0.006)
            elif kind == "guitar":
                t = stage.at(b + p, 0.006)
                for k, tone in enumerate((base - 12, base - 5, base, base + 4, base + 7)):
                    stage.add(1, 3, 25, t + 0.008 * k, t + 0.2 + 0.008 * k, tone, vel - 12)
            elif kind == "melody note":
                stage.play(voice["group"], voice["channel"], voice["program"], b, dur, base + 12, vel, 0.006)
            else:
                fiddle = voice if voice["bowed"] else dict(group=1, channel=2, program=40)
                for tone in (base, base + 7):
                    stage.play(fiddle["group"], fiddle["channel"], fiddle["program"], b + p, dur, tone, vel, 0.007)
    if kind == "drone shuffle":
        stage.play(1, 7, 40, 0, beats, base - 5, 60, 0.01)
