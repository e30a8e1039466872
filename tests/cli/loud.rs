//! How loud the program is: never above −1 dBTP, and quiet at first.

use super::*;
use ebur128::{EbuR128, Mode};
use eightclap::sound::band::signals::white_noise;

/// What a meter says of a WAV file: its true peak, dBTP (ITU-R BS.1770-4, Annex 2), and
/// its loudest 400 ms and its whole, LUFS.
struct Metered {
    peak: f64,
    loudest: f64,
    whole: f64,
}

fn metered(path: &Path) -> Metered {
    let mut reader = hound::WavReader::open(path).expect("a WAV file");
    let spec = reader.spec();
    let modes = Mode::TRUE_PEAK | Mode::I | Mode::M;
    let channels = u32::from(spec.channels);
    let mut meter = EbuR128::new(channels, spec.sample_rate, modes).expect("a usual rate");
    let sound: Vec<i16> = reader.samples().map(|s| s.expect("a sample")).collect();
    let mut loudest = f64::NEG_INFINITY;
    for block in sound.chunks((spec.sample_rate / 10 * channels) as usize) {
        meter.add_frames_i16(block).expect("whole frames");
        loudest = loudest.max(meter.loudness_momentary().expect("asked for"));
    }
    let peaks = (0..channels).map(|n| meter.true_peak(n).expect("asked for"));
    Metered {
        peak: 20.0 * peaks.fold(0.0f64, f64::max).log10(),
        loudest,
        whole: meter.loudness_global().expect("asked for"),
    }
}

/// A tune that uses the full scale and more: the band with noise of two values over its
/// second half, whose curve is far above its samples.
fn full_scale(rate: u32) -> Vec<f32> {
    let mut sound = tune(rate, 1);
    let half = sound.len() / 2;
    let seconds = half as f64 / f64::from(rate) + 1.0;
    for (x, noise) in sound[half..]
        .iter_mut()
        .zip(white_noise(seconds, rate, 1.0, 3))
    {
        *x += 0.3 * noise.signum();
    }
    let top = sound.iter().fold(0.0f32, |most, x| most.max(x.abs()));
    // Clipped by half, as loud masters are.
    sound
        .iter()
        .map(|x| (x * 2.0 / top).clamp(-1.0, 1.0))
        .collect()
}

#[test]
fn written_files_stay_below_full_scale_by_a_decibel_with_everything_at_its_loudest() {
    let folder = tempfile::tempdir().unwrap();
    let [path, out, card] = ["t.wav", "out.wav", "c.toml"].map(|name| folder.path().join(name));
    std::fs::copy("fixtures/cards/lanterns-on-the-weir.toml", &card).unwrap();
    for (rate, channels) in [(22_050, 2), (44_100, 1), (96_000, 1)] {
        let spec = hound::WavSpec {
            channels,
            ..plain(rate)
        };
        write_wav(&path, &full_scale(rate), spec);
        let mut call: Vec<&OsStr> = vec!["practise".as_ref(), path.as_ref(), "--card".as_ref()];
        call.extend([card.as_os_str(), "--write".as_ref(), out.as_ref()]);
        let loud = "--ticks --clap-level 4 --tick-level 4 --voice-level 4";
        call.extend(loud.split(' ').map(OsStr::new));
        let said = run(call);
        assert_eq!(said.code, 0, "{said:?}");
        assert_eq!(samples(&out).len(), samples(&path).len());
        let Metered { peak, .. } = metered(&out);
        println!("{rate} Hz, {channels} channels: {peak:.2} dBTP");
        assert!((-3.0..=-1.0).contains(&peak), "{rate} Hz: {peak} dBTP");
    }
}

#[test]
fn the_demo_and_a_spoken_call_are_quiet_at_first() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("out.wav");
    let write = |call: &str| {
        let mut call: Vec<&OsStr> = call.split('|').map(OsStr::new).collect();
        call.extend(["--write".as_ref(), out.as_os_str()]);
        run(call).well();
        metered(&out)
    };
    let band = write("demo|--no-claps|--no-voice");
    let usual = write("demo");
    let said = write("voice|say|face your partner and balance");
    for (what, m) in [("band", &band), ("demo", &usual), ("call", &said)] {
        let Metered {
            peak,
            loudest,
            whole,
        } = m;
        println!("{what}: {peak:.1} dBTP, at most {loudest:.1} LUFS, whole {whole:.1} LUFS");
        assert!(*peak <= -1.0, "{what}: {peak} dBTP");
    }
    let loudest = write("demo|--ticks|--clap-level|4|--tick-level|4|--voice-level|4");
    println!(
        "all at 4: {:.1} dBTP, whole {:.1} LUFS",
        loudest.peak, loudest.whole
    );
    assert!(loudest.peak <= -1.0, "{} dBTP", loudest.peak);
    // What quiet means: 4 decibels and more below what is usual for music on the net
    // (-14 LUFS, common practice), in the whole and, claps and calls included, nearly so
    // in the loudest 400 ms; the band is half as loud in amplitude as it would go.
    assert!(
        usual.whole <= -20.0 && usual.loudest <= -16.0,
        "{}",
        usual.loudest
    );
    assert!(said.whole <= -20.0 && band.peak <= -9.0);
}
