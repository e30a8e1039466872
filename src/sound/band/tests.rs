use super::*;
use realfft::RealFftPlanner;

fn short(tune: &Tune, settings: Settings) -> Performance {
    let settings = Settings {
        times: 1,
        ..settings
    };
    Performance::new(tune, settings).unwrap()
}

fn rms(x: &[f32]) -> f64 {
    (x.iter().map(|v| f64::from(*v).powi(2)).sum::<f64>() / x.len() as f64).sqrt()
}

fn decibels(level: f64) -> f64 {
    20.0 * level.log10()
}

#[test]
fn every_bundled_tune_is_aabb_of_64_beats() {
    assert!(tunes().len() >= 4);
    for tune in tunes() {
        let name = tune.name();
        assert_eq!(tune.beats(), 64, "{name}");
        assert!((0.0..1.0).contains(&tune.pickup()), "{name}");
        // The melody is the same in A1 and A2 and in B1 and B2, but for the turn at the
        // end, and not the same in A and B.
        let part = |index: usize| -> Vec<(i64, u8)> {
            let start = index as f64 * 16.0;
            tune.notes()
                .iter()
                .filter(|n| n.beat >= start && n.beat < start + 14.0)
                .map(|n| (((n.beat - start) * 96.0).round() as i64, n.pitch))
                .collect()
        };
        assert_eq!(part(0), part(1), "{name}");
        assert_eq!(part(2), part(3), "{name}");
        assert_ne!(part(0), part(2), "{name}");
        assert!(part(0).len() >= 24, "{name}");
        // Each phrase has a note on its first beat.
        for one in (0..64).step_by(8).map(f64::from) {
            let there = tune.notes().iter().any(|n| (n.beat - one).abs() < 1e-9);
            assert!(there, "{name}: no note on beat {one}");
        }
        // Each part comes home: the tonic in melody and chords.
        let home = tune.chord_at(0.0).unwrap().root;
        for end in [15.0, 31.0, 47.0, 63.0] {
            assert_eq!(tune.chord_at(end).unwrap().root, home, "{name} at {end}");
            let chord = tune.chord_at(end).unwrap();
            let last = tune.notes().iter().rev().find(|n| n.beat <= end).unwrap();
            assert!(chord.holds(last.pitch), "{name} at {end}");
        }
        assert_eq!(tune.notes().last().unwrap().pitch % 12, home, "{name}");
    }
}

#[test]
fn most_melody_notes_fit_their_chords() {
    for tune in tunes() {
        let on: Vec<_> = tune.notes().iter().filter(|n| n.on_beat()).collect();
        let fits = on
            .iter()
            .filter(|n| tune.chord_at(n.beat).unwrap().holds(n.pitch));
        let share = fits.count() as f64 / on.len() as f64;
        assert!(share > 0.75, "{}: {share}", tune.name());
    }
}

#[test]
fn tunes_are_found_by_name_and_title() {
    let kinds: Vec<_> = tunes().iter().map(|t| t.kind().name()).collect();
    for kind in ["reel", "jig", "hornpipe", "march"] {
        assert!(kinds.contains(&kind), "{kind}");
    }
    for t in tunes() {
        assert_eq!(tune(t.name()), Some(t));
        assert_eq!(tune(&t.title().to_uppercase()), Some(t));
    }
    assert!(tune("no such tune").is_none());
}

#[test]
fn even_tempo_gives_even_beats() {
    let p = Performance::new(&tunes()[0], Settings::exact()).unwrap();
    let truth = p.truth();
    assert_eq!(truth.beats.len(), 192);
    assert_eq!(truth.lead_in.len(), 4);
    assert_eq!(truth.phrases.len(), 24);
    assert_eq!(truth.parts.len(), 12);
    let all: Vec<f64> = truth.lead_in.iter().chain(&truth.beats).copied().collect();
    for pair in all.windows(2) {
        assert!((pair[1] - pair[0] - 60.0 / 116.0).abs() < 1e-9);
    }
    assert!((truth.lead_in[0] - 0.8).abs() < 1e-9);
    assert!((truth.tempo_spm - 116.0).abs() < 1e-6);
    assert_eq!(truth.phrases[3], truth.beats[24]);
    let names: Vec<_> = truth.parts.iter().map(|p| p.name.as_str()).collect();
    assert_eq!(names[..5], ["A1", "A2", "B1", "B2", "A1"]);
    assert_eq!(truth.parts[2].t, truth.beats[32]);
}

#[test]
fn tempo_wanders_within_its_bounds_and_speeds_up_when_asked() {
    for seed in 0..6 {
        let settings = Settings {
            drift: 0.03,
            seed,
            steps_per_minute: 120.0,
            ..Settings::default()
        };
        let p = Performance::new(&tunes()[1], settings.clone()).unwrap();
        let steps: Vec<f64> = p.truth().beats.windows(2).map(|w| w[1] - w[0]).collect();
        assert!(steps.iter().all(|s| (60.0 / s / 120.0 - 1.0).abs() < 0.031));
        assert!(steps.iter().any(|s| (60.0 / s / 120.0 - 1.0).abs() > 0.003));
        assert!((p.truth().tempo_spm / 120.0 - 1.0).abs() < 0.01);
        let faster = Settings {
            speed_up: 0.2,
            drift: 0.0,
            ..settings
        };
        let p = Performance::new(&tunes()[1], faster).unwrap();
        let beats = &p.truth().beats;
        let ratio = (beats[1] - beats[0]) / (beats[191] - beats[190]);
        assert!((1.15..1.25).contains(&ratio), "{ratio}");
    }
}

#[test]
fn the_seed_decides_all_and_block_size_nothing() {
    let settings = Settings {
        noise: 0.2,
        room: Room::HALL,
        backup: Backup::Guitar,
        sample_rate: 16_000,
        ..Settings::default()
    };
    let p = short(&tunes()[2], settings.clone());
    let whole = p.render();
    assert_eq!(whole, short(&tunes()[2], settings.clone()).render());
    let other = short(
        &tunes()[2],
        Settings {
            seed: 2,
            ..settings
        },
    );
    assert_ne!(whole[..32_000], other.render()[..32_000]);

    let mut player = p.player();
    let mut pieces = Vec::new();
    for size in [1, 7, 160, 441, 1024, 5000].iter().cycle() {
        let mut block = vec![9.0; *size];
        let count = player.next_block(&mut block);
        assert!(block[count..].iter().all(|x| *x == 0.0));
        pieces.extend_from_slice(&block[..count]);
        if count < *size {
            break;
        }
    }
    assert_eq!(player.remaining(), 0);
    assert_eq!(player.next_block(&mut [0.0; 8]), 0);
    let differ = pieces.iter().zip(&whole).position(|(a, b)| a != b);
    assert_eq!(differ, None, "blocks change the sound");
    assert_eq!(pieces.len(), whole.len());
}

/// Rise of log energy in bands of a third of an octave, one value a hop of 5 ms.
fn rises(x: &[f32], rate: u32) -> Vec<f64> {
    let (hop, size) = (rate as usize / 200, 1024);
    let fft = RealFftPlanner::<f32>::new().plan_fft_forward(size);
    let mut spectrum = fft.make_output_vec();
    let mut frame = vec![0.0_f32; size];
    let bin = |hz: f64| (hz * size as f64 / f64::from(rate)) as usize;
    let edges: Vec<usize> = (0..=21)
        .map(|i| bin(80.0 * 2.0_f64.powf(f64::from(i) / 3.0)).max(i as usize))
        .collect();
    let mut history = [vec![0.0_f64; 21], vec![0.0; 21]];
    (0..x.len() / hop)
        .map(|i| {
            for (k, v) in frame.iter_mut().enumerate() {
                let window = 0.5 - 0.5 * (std::f32::consts::TAU * k as f32 / size as f32).cos();
                let sample = (i * hop + k).checked_sub(size / 2).and_then(|j| x.get(j));
                *v = sample.copied().unwrap_or(0.0) * window;
            }
            fft.process(&mut frame, &mut spectrum).unwrap();
            let now: Vec<f64> = edges
                .windows(2)
                .map(|e| {
                    let band = &spectrum[e[0]..e[1].max(e[0] + 1)];
                    let power: f32 = band.iter().map(|c| c.norm_sqr()).sum();
                    (1.0 + 10.0 * f64::from(power.sqrt())).ln()
                })
                .collect();
            let rise = now.iter().zip(&history[0]);
            let rise = rise.map(|(a, b)| (a - b).max(0.0)).sum();
            history.swap(0, 1);
            history[1] = now;
            rise
        })
        .collect()
}

#[test]
fn sound_begins_where_the_truth_says() {
    for (tune, backup, lead) in [
        (&tunes()[0], Backup::Piano, Lead::Fiddle),
        (&tunes()[1], Backup::Guitar, Lead::Fiddle),
        (&tunes()[2], Backup::None, Lead::Fiddle),
        (&tunes()[3], Backup::Piano, Lead::Mandolin),
        (&tunes()[4], Backup::None, Lead::Mandolin),
    ] {
        let settings = Settings {
            backup,
            lead,
            sample_rate: 24_000,
            ..Settings::default()
        };
        let p = short(tune, settings);
        let rise = rises(&p.render(), 24_000);
        let mean = rise.iter().sum::<f64>() / rise.len() as f64;
        let at = |lag: i64| -> f64 {
            let beats = p.truth().lead_in.iter().chain(&p.truth().beats);
            let sum: f64 = beats
                .clone()
                .map(|b| rise[((b * 200.0).round() as i64 + lag) as usize])
                .sum();
            sum / beats.count() as f64 / mean
        };
        // 60 hops are more than half a beat: the best lag must be none. Without backup a
        // running tune sounds as much off the beat as on it: look within a note only.
        let reach = if backup == Backup::None { 20 } else { 60 };
        let best = (-reach..reach)
            .max_by(|a, b| at(*a).total_cmp(&at(*b)))
            .unwrap();
        let name = tune.name();
        assert!(best.abs() <= 3, "{name}: {} ms off", best * 5);
        assert!(at(best) > 2.5, "{name}: weak onsets, {}", at(best));
    }
}

#[test]
fn levels_are_right_for_every_band() {
    let bands = [
        (Lead::Fiddle, Backup::Piano, Room::SMALL, 0.02),
        (Lead::Fiddle, Backup::Guitar, Room::HALL, 0.25),
        (Lead::Mandolin, Backup::Guitar, Room::DRY, 0.0),
        (Lead::Mandolin, Backup::Piano, Room::SMALL, 0.0),
        (Lead::Fiddle, Backup::None, Room::DRY, 0.0),
    ];
    for (i, (lead, backup, room, noise)) in bands.into_iter().enumerate() {
        let settings = Settings {
            lead,
            backup,
            room,
            noise,
            sample_rate: 22_050,
            ..Settings::default()
        };
        let p = short(&tunes()[i % tunes().len()], settings);
        let x = p.render();
        let (first, last) = (p.truth().beats[0], p.truth().beats[63]);
        let music = &x[(first * 22_050.0) as usize..(last * 22_050.0) as usize];
        let peak = x.iter().fold(0.0_f32, |m, v| m.max(v.abs()));
        let loud = decibels(rms(music));
        let crest = decibels(f64::from(peak)) - loud;
        let mean = x.iter().map(|v| f64::from(*v)).sum::<f64>() / x.len() as f64;
        let what = format!("{lead:?} {backup:?}: peak {peak}, {loud:.1} dBFS, crest {crest:.1}");
        assert!(x.iter().all(|v| v.is_finite()), "{what}");
        assert!((0.2..=0.5).contains(&peak), "{what}");
        assert!((-27.0..=-17.0).contains(&loud), "{what}");
        assert!((9.0..=20.0).contains(&crest), "{what}");
        assert!(mean.abs() < 1e-4, "{what}, mean {mean}");
        // Bent samples are rare: nothing sounds clipped.
        let bent = x.iter().filter(|v| v.abs() > 0.45).count();
        assert!(bent * 1000 < x.len(), "{what}, {bent} of {} bent", x.len());
        // Silence before, silence after.
        assert!(decibels(rms(&x[..11_025])) < loud - 8.0, "{what}");
        if noise < 0.1 {
            assert!(decibels(rms(&x[x.len() - 2000..])) < loud - 25.0, "{what}");
        }
    }
}

#[test]
fn a_late_start_is_mid_tune_and_in_full_sound() {
    let settings = Settings {
        start_beat: 70,
        times: 2,
        sample_rate: 16_000,
        ..Settings::default()
    };
    let p = Performance::new(&tunes()[0], settings).unwrap();
    let truth = p.truth();
    assert!(truth.lead_in.is_empty());
    assert_eq!((truth.first_beat_index, truth.times_through), (70, 2));
    assert_eq!(truth.beats.len(), 58);
    assert!((0.05..0.45).contains(&truth.beats[0]));
    // Beat 72 is a one, beat 80 begins A2.
    assert_eq!(truth.phrases[0], truth.beats[2]);
    assert_eq!(truth.parts[0].name, "A2");
    assert_eq!(truth.parts[0].t, truth.beats[10]);
    let x = p.render();
    assert!(decibels(rms(&x[..800])) > -40.0, "starts from silence");
}

#[test]
fn lead_ins_can_be_chosen() {
    for lead_in in [LeadIn::None, LeadIn::Fiddle, LeadIn::Piano, LeadIn::Clicks] {
        let settings = Settings {
            lead_in,
            sample_rate: 16_000,
            ..Settings::exact()
        };
        let p = short(&tunes()[1], settings);
        let mut before = vec![0.0; (p.truth().beats[0] * 16_000.0) as usize - 160];
        p.player().next_block(&mut before);
        let level = |beat: f64| {
            let at = (beat * 16_000.0) as usize;
            rms(&before[at..at + 800])
        };
        if lead_in == LeadIn::None {
            assert!(p.truth().lead_in.is_empty());
            continue;
        }
        for beat in &p.truth().lead_in {
            assert!(level(*beat) > 0.02, "{lead_in:?}: {}", level(*beat));
        }
        assert_eq!(rms(&before[..12_000]), 0.0);
    }
}

#[test]
fn the_record_has_the_keys_that_measurements_read() {
    let p = short(&tunes()[3], Settings::default());
    let json = serde_json::to_value(p.truth()).unwrap();
    for key in [
        "title",
        "kind",
        "instrument",
        "backup",
        "condition",
        "tempo_spm",
        "lead_in",
        "beats",
        "phrases",
        "parts",
        "times_through",
        "first_beat_index",
    ] {
        assert!(json.get(key).is_some(), "{key}");
    }
    assert_eq!(json["parts"][1]["name"], "A2");
    assert!(json["parts"][1]["t"].as_f64().unwrap() > 1.0);
    assert_eq!(json["condition"], "clean");
    let back: Truth = serde_json::from_value(json).unwrap();
    assert_eq!(&back.title, p.truth().title.as_str());
}

#[test]
fn settings_out_of_range_are_named() {
    let refused = |settings: Settings| {
        let error = Performance::new(&tunes()[0], settings).unwrap_err();
        assert!(error.to_string().contains(error.name));
        error.name
    };
    let base = Settings::default;
    let slow = Settings {
        steps_per_minute: 10.0,
        ..base()
    };
    assert_eq!(refused(slow), "steps_per_minute");
    let nan = Settings {
        jitter: f64::NAN,
        ..base()
    };
    assert_eq!(refused(nan), "jitter");
    assert_eq!(refused(Settings { times: 0, ..base() }), "times");
    let late = Settings {
        start_beat: 192,
        ..base()
    };
    assert_eq!(refused(late), "start_beat");
    let rate = Settings {
        sample_rate: 4000,
        ..base()
    };
    assert_eq!(refused(rate), "sample_rate");
}

#[test]
fn any_usual_rate_sounds_alike() {
    let mut levels = Vec::new();
    for sample_rate in [8_000, 22_050, 44_100, 96_000] {
        let settings = Settings {
            sample_rate,
            ..Settings::exact()
        };
        let p = short(&tunes()[0], settings);
        let mut x = vec![0.0; (8.0 * f64::from(sample_rate)) as usize];
        p.player().next_block(&mut x);
        assert!(x.iter().all(|v| v.is_finite() && v.abs() <= 0.5));
        levels.push(decibels(rms(&x)));
    }
    for level in &levels {
        assert!((level - levels[2]).abs() < 3.0, "{levels:?}");
    }
}
