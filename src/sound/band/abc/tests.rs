use super::*;

const HEAD: &str = "X:1\nT:Trial\nR:reel\nM:C|\nL:1/8\nK:G\n";

fn tune(body: &str) -> Result<Tune, AbcError> {
    parse("trial", &format!("{HEAD}{body}"))
}

fn fault(body: &str) -> (usize, usize, String) {
    let e = tune(body).unwrap_err();
    (e.line, e.column, e.problem)
}

#[test]
fn lengths_rests_and_accidentals() {
    let t = tune("A2 B/c/ ^c c z =c2 | _B4 B4 |").unwrap();
    let got: Vec<_> = t
        .notes()
        .iter()
        .map(|n| (n.beat, n.beats, n.pitch))
        .collect();
    assert_eq!(
        got,
        [
            (0.0, 0.5, 69),
            (0.5, 0.125, 71),
            (0.625, 0.125, 72),
            (0.75, 0.25, 73),
            (1.0, 0.25, 73),
            (1.5, 0.5, 72),
            (2.0, 1.0, 70),
            (3.0, 1.0, 70),
        ]
    );
    assert_eq!(t.beats(), 4);
    // The signature of G, and accidentals that end with their bar.
    let t = tune("F4 ^G4 | G4 f4 |").unwrap();
    let pitches: Vec<_> = t.notes().iter().map(|n| n.pitch).collect();
    assert_eq!(pitches, [66, 68, 67, 78]);
}

#[test]
fn broken_rhythm_triplets_ties_and_slurs() {
    let t = tune("A>B c<d (3ABc (de) | f4- f2 e2 |").unwrap();
    let lengths: Vec<_> = t.notes().iter().map(|n| (n.beats * 24.0).round()).collect();
    assert_eq!(
        lengths,
        [9.0, 3.0, 3.0, 9.0, 4.0, 4.0, 4.0, 6.0, 6.0, 36.0, 12.0]
    );
    let slurred: Vec<_> = t.notes().iter().map(|n| n.slurred).collect();
    assert_eq!(slurred.iter().filter(|s| **s).count(), 1);
    assert!(slurred[8]);
}

#[test]
fn repeats_and_endings_are_played_out() {
    let t = tune("D2 |: A8 |1 B8 :|2 c8 |] |: d8 |1 e8 :|2 f6 |]").unwrap();
    let pitches: Vec<_> = t.notes().iter().map(|n| n.pitch).collect();
    assert_eq!(pitches, [62, 69, 71, 69, 72, 74, 76, 74, 78]);
    assert_eq!((t.beats(), t.pickup()), (16, 0.5));
    assert_eq!(t.notes()[1].beat, 0.0);
    // A pickup inside the repeat fills up the short bar before it.
    let t = tune("D2 | A8 | B6 :: d2 | e8 | f6 :|").unwrap();
    assert_eq!(t.beats(), 16);
    let pitches: Vec<_> = t.notes().iter().map(|n| n.pitch).collect();
    assert_eq!(pitches, [62, 69, 71, 62, 69, 71, 74, 76, 78, 74, 76, 78]);
}

#[test]
fn chords_fall_on_their_beats() {
    let t = tune("\"G\"A4 \"D7\"B4 | c4 \"Em\"d4 |").unwrap();
    let beats: Vec<_> = t.chords().iter().map(|(b, c)| (*b, c.root)).collect();
    assert_eq!(beats, [(0.0, 7), (1.0, 2), (3.0, 4)]);
    assert!(t.chord_at(2.0).unwrap().seventh);
    assert!(t.chord_at(3.5).unwrap().minor);
}

#[test]
fn errors_say_where() {
    let long = fault("A8 | B8 c2 | d8 |");
    assert_eq!((long.0, long.1), (7, 6));
    assert!(
        long.2.contains("5/4") && long.2.contains("1/1"),
        "{}",
        long.2
    );
    let short = fault("A8 |\nB6 | d8 |");
    assert_eq!((short.0, short.1), (8, 1));
    assert_eq!(fault("A8 | B4 !trill! c4 |").1, 9);
    assert_eq!(fault("A8 | \"Gsus\"B8 |").1, 6);
    assert_eq!(fault("A8 | \"G B8 |").1, 6);
    assert_eq!(fault("> A8 |").1, 1);
    assert_eq!(fault("A7> | A8 |").1, 3);
    assert_eq!(fault("A4- B4 |").1, 1);
    assert_eq!(fault("(3AB | c4").1, 6);
    assert_eq!(fault("A8 |1 B8 | c8 |").1, 12);
    assert_eq!(fault("A8 |2 B8 :|").1, 7);
    assert_eq!(fault("A8 |?").1, 5);
    assert_eq!(fault("A8 ::: B8").1, 4);
    assert_eq!(fault(":| A8").1, 1);
    assert_eq!(fault("A,,8").1, 1);
    assert_eq!(fault("^z8").1, 1);
    assert_eq!(fault("A99").1, 2);
    assert_eq!(fault("A8)").1, 3);
    assert_eq!(fault("").2, "no music after the K: line");
    let last = fault("D2 | A8 | B8 |");
    assert!(last.2.contains("must be 3/4"), "{}", last.2);
    let e = tune("A8 | H8").unwrap_err();
    assert!(e.to_string().starts_with("trial:7:6: "), "{e}");
}

#[test]
fn headers_must_be_whole() {
    let problem = |text: &str| {
        let e = parse("t", text).unwrap_err();
        (e.line, e.column, e.problem)
    };
    assert_eq!(problem("").0, 1);
    assert_eq!(
        problem("T:x\nM:C|\nL:1/8\nK:G\nA8").2,
        "no R: (reel, jig, hornpipe or march) before K:"
    );
    assert_eq!(
        (problem("T:x\nM:3/4\n").0, problem("T:x\nM:3/4\n").1),
        (2, 3)
    );
    assert_eq!(problem("R:waltz").1, 3);
    assert_eq!(problem("L:1/7").1, 3);
    assert_eq!(problem("just words").0, 1);
    assert_eq!(problem("Q:120").0, 1);
    assert_eq!(problem("T:x\nR:jig\nM:6/8\nL:1/8\nK:Q").0, 5);
}
