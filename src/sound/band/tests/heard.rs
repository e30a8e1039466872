//! How a performance sounds.

use realfft::RealFftPlanner;

use super::*;

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
