//! What is kept, and how it comes back.

use super::*;
use crate::dance::LANTERNS_ON_THE_WEIR;

fn header(began: u64) -> Header {
    Header {
        began,
        card: LANTERNS_ON_THE_WEIR.into(),
        tune: "Kettle on the Landing".into(),
        grid: Grid::even(4.0, 120.0, 64).expect("good"),
        heard: Heard::Microphone,
        limits: Limits::default(),
    }
}

#[test]
fn dates_are_those_of_the_calendar() {
    // As `date -u -d @N` says.
    for (seconds, text) in [
        (0, "1970-01-01 00:00:00"),
        (951_782_399, "2000-02-28 23:59:59"),
        (951_782_400, "2000-02-29 00:00:00"),
        (1_772_393_400, "2026-03-01 19:30:00"),
        (4_107_542_399, "2100-02-28 23:59:59"),
        (4_107_542_400, "2100-03-01 00:00:00"),
    ] {
        assert_eq!(moment(seconds), text);
    }
}

#[test]
fn what_is_kept_comes_back_and_a_crash_loses_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::at(folder.path().join("a/b"));
    assert_eq!(store.all().unwrap().0, []);
    let mut keeper = store.begin(header(1_772_393_400)).unwrap();
    keeper.prompt(&Prompt::tapped(3.8)).unwrap();
    keeper.prompt(&Prompt::tapped(5.5)).unwrap();
    // It breaks off in the middle of a line.
    let mut file = OpenOptions::new().append(true).open(keeper.path()).unwrap();
    file.write_all(b"{\"prompt\":{\"sta").unwrap();
    let mut other = store.begin(header(1_772_393_400)).unwrap();
    other
        .end(Ending {
            until: 20.0,
            softened: Some(12.0),
            gaps: 0,
        })
        .unwrap();

    let (sessions, wrong) = store.all().unwrap();
    assert!(wrong.is_empty());
    let names: Vec<&str> = sessions.iter().map(|s| s.name.as_str()).collect();
    assert_eq!(names, ["2026-03-01-19-30-00", "2026-03-01-19-30-00-2"]);
    assert_eq!((sessions[0].prompts.len(), sessions[0].ending), (2, None));
    let score = sessions[0].score().unwrap();
    // They end near beat 0 and on beat 3, ahead of the figures on 0 and 4.
    assert_eq!((score.figures.len(), score.whole().given), (2, 2));
    assert_eq!(sessions[1].ending.unwrap().softened, Some(12.0));
    assert_eq!(sessions[1].header, header(1_772_393_400));
}

#[test]
fn one_or_all_are_deleted_with_their_recordings() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::at(folder.path());
    let first = store.begin(header(0)).unwrap().path().to_owned();
    for n in 1..4 {
        store.begin(header(n)).unwrap();
    }
    std::fs::write(first.with_extension("wav"), "sound").unwrap();
    std::fs::write(folder.path().join("notes.txt"), "mine").unwrap();
    assert!(matches!(
        store.delete(Some("x")),
        Err(SessionError::None(_))
    ));
    assert_eq!(store.delete(Some("1970-01-01-00-00-00")).unwrap(), 1);
    assert!(!first.with_extension("wav").exists());
    assert_eq!(store.delete(None).unwrap(), 3);
    let left: Vec<_> = std::fs::read_dir(folder.path()).unwrap().collect();
    assert_eq!(left.len(), 1, "what is not ours stays");
}

#[test]
fn a_file_of_something_else_is_named_with_its_line() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::at(folder.path());
    std::fs::write(folder.path().join("x.jsonl"), "hello\n{}\n").unwrap();
    let (sessions, wrong) = store.all().unwrap();
    assert!(sessions.is_empty());
    assert!(
        wrong[0].to_string().contains("x.jsonl: line 1"),
        "{}",
        wrong[0]
    );
}
