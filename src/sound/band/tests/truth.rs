//! What is known of a performance: its beats, phrases and settings.

use super::*;

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
