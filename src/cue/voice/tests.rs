use super::*;
use crate::sound::write::{Depth, WavOut};
use std::path::Path;

const RATE: u32 = 48_000;

/// A voice without the machine's engine.
fn voice(folder: Option<&Path>, cache: Option<&Path>) -> Voice {
    Voice::new(Settings {
        folder: folder.map(Path::to_owned),
        engine: Choice::None,
        cache: cache.map(Path::to_owned),
    })
    .unwrap()
}

/// A buzz of a given length, with silence around it.
fn buzz(seconds: f64, rate: u32) -> Vec<f32> {
    let silence = vec![0.0; rate as usize / 4];
    let said = (0..(seconds * f64::from(rate)) as usize)
        .map(|n| 0.2 * ((n % (rate as usize / 130)) as f32 / (rate / 260) as f32 - 1.0));
    let middle: Vec<f32> = said.collect();
    [silence.clone(), middle, silence].concat()
}

fn write(path: &Path, sound: &[f32], rate: u32) {
    let mut out = WavOut::create(path, rate, 1, Depth::Int16).unwrap();
    out.write(sound).unwrap();
    out.finish().unwrap();
}

#[test]
fn own_recordings_come_before_the_bank_and_the_bank_before_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("Swing-your-partner.wav");
    write(&path, &buzz(0.6, 16_000), 16_000);
    let before = std::fs::read(&path).unwrap();

    let voice = voice(Some(folder.path()), None);
    let texts = ["swing your partner!", "one", "the colour of the weather"];
    let said = voice.prepare(texts, RATE);
    assert_eq!(said.rate(), RATE);
    let own = said.get("Swing your partner").unwrap();
    assert_eq!(own.source, Source::Own);
    assert!((said.seconds(texts[0]).unwrap() - 0.6).abs() < 0.03);
    assert_eq!(said.get("one").unwrap().source, Source::BuiltIn);
    assert_eq!(said.missing().len(), 1);
    assert_eq!(said.missing()[0].words, texts[2]);
    assert_eq!(said.missing()[0].why, "the speech engine is off");
    assert!(said.get(texts[2]).is_none() && said.seconds(texts[2]).is_none());
    assert!(said.warnings().is_empty());

    let sources = texts.map(|text| voice.source(text));
    assert_eq!(sources, [Some(Source::Own), Some(Source::BuiltIn), None]);
    assert_eq!(std::fs::read(&path).unwrap(), before, "never changed");
}

#[test]
fn a_recording_that_is_no_use_is_told_of_and_the_bank_speaks() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("one.wav"), "no sound").unwrap();
    write(&folder.path().join("two.wav"), &[0.0; 8_000], 8_000);
    let said = voice(Some(folder.path()), None).prepare(["one", "two"], RATE);
    for words in ["one", "two"] {
        assert_eq!(said.get(words).unwrap().source, Source::BuiltIn);
    }
    assert_eq!(said.warnings().len(), 2);
    for (warning, name) in said.warnings().iter().zip(["one.wav", "two.wav"]) {
        assert!(warning.contains(name), "{warning}");
        assert!(warning.contains("record it again"), "{warning}");
    }
}

#[test]
fn what_the_engine_said_before_needs_no_engine() {
    let folder = tempfile::tempdir().unwrap();
    let cache = Cache::new(folder.path().to_owned());
    let words = "the colour of the weather";
    cache
        .put(Engine::SystemSpeech, words, 22_050, &buzz(0.8, 22_050))
        .unwrap();
    let voice = Voice::new(Settings {
        folder: None,
        // Not on any machine that tests run on but Windows.
        engine: Choice::This(Engine::SystemSpeech),
        cache: Some(folder.path().to_owned()),
    })
    .unwrap();
    let said = voice.prepare([words], RATE);
    let utterance = said.get(words).unwrap();
    assert_eq!(utterance.source, Source::Engine);
    assert!(
        (utterance.natural - 0.8).abs() < 0.03,
        "{}",
        utterance.natural
    );
}

#[cfg(not(windows))]
#[test]
fn without_the_engine_it_says_how_to_get_one() {
    let voice = Voice::new(Settings {
        engine: Choice::This(Engine::SystemSpeech),
        ..Settings::default()
    })
    .unwrap();
    let said = voice.prepare(["the colour of the weather", "and another"], RATE);
    assert_eq!(said.missing().len(), 2);
    for missing in said.missing() {
        assert!(missing.why.contains("not on this machine"), "{missing:?}");
        assert!(missing.why.contains("install"), "{missing:?}");
    }
}

#[test]
fn a_machine_with_an_engine_speaks_anything_and_keeps_it() {
    if render::works(Engine::EspeakNg).is_err() {
        eprintln!("skipped: espeak-ng is not installed");
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let voice = Voice::new(Settings {
        folder: None,
        engine: Choice::This(Engine::EspeakNg),
        cache: Some(folder.path().join("voice")),
    })
    .unwrap();
    let texts = [
        "the colour of the weather",
        "--help",
        "$(reboot); \"quoted\"",
    ];
    let said = voice.prepare(texts, RATE);
    assert!(said.missing().is_empty(), "{:?}", said.missing());
    for text in texts {
        assert_eq!(said.get(text).unwrap().source, Source::Engine);
        assert!((0.2..4.0).contains(&said.seconds(text).unwrap()), "{text}");
    }
    let kept = std::fs::read_dir(folder.path().join("voice")).unwrap();
    assert_eq!(kept.count(), texts.len());
    let again = voice.prepare(texts, RATE);
    for text in texts {
        assert_eq!(again.seconds(text), said.seconds(text), "{text}");
    }
}

#[test]
fn every_clip_fits_what_it_says_of_itself() {
    let texts = ["swing your partner", "circle left", "last time", "eight"];
    for rate in [22_050, 44_100, 48_000, 96_000] {
        let said = voice(None, None).prepare(texts, rate);
        for text in texts {
            let utterance = said.get(text).unwrap();
            let paces: Vec<f64> = utterance.clips.iter().map(|c| c.pace).collect();
            assert_eq!(paces, PACES);
            assert_eq!(utterance.natural, utterance.clips[0].over);
            let square = |clip: &Clip| {
                let sum: f32 = clip.samples.iter().map(|s| s * s).sum();
                (sum / clip.samples.len() as f32).sqrt()
            };
            let natural = square(&utterance.clips[0]);
            for clip in &utterance.clips {
                let length = clip.samples.len() as f64 / f64::from(rate);
                assert!(clip.heard_from < 0.025, "{text}: {}", clip.heard_from);
                assert!(clip.over > clip.heard_from && clip.over <= length, "{text}");
                assert!(clip.samples.iter().all(|s| s.abs() <= PEAK + 1e-5));
                let louder = square(clip) / natural;
                assert!((0.85..1.15).contains(&louder), "{text}: {louder}");
            }
        }
    }
}

#[test]
fn the_most_natural_clip_that_fits_is_taken() {
    let said = voice(None, None).prepare(["swing your partner"], RATE);
    let utterance = said.get("swing your partner").unwrap();
    let natural = utterance.natural;
    let pace = |room: f64| utterance.fitting(room).map(|clip| clip.pace);
    assert_eq!(pace(natural), Some(1.0));
    assert_eq!(pace(natural * 0.99), Some(1.08));
    assert_eq!(pace(natural / 1.25), Some(1.25));
    assert_eq!(pace(natural / 1.25 - 0.001), None);
}

#[test]
fn nothing_and_the_same_twice_are_no_trouble() {
    let said = voice(None, None).prepare(["", "…", "one", "One!", "one"], RATE);
    assert!(said.missing().is_empty());
    assert_eq!(said.said.len(), 1);
}

#[test]
fn a_folder_that_is_not_there_is_an_error_with_the_remedy() {
    let error = Voice::new(Settings {
        folder: Some("/no/such/folder".into()),
        ..Settings::default()
    })
    .unwrap_err()
    .to_string();
    assert!(error.contains("/no/such/folder"), "{error}");
    assert!(error.contains("eightclap voice record"), "{error}");
}
