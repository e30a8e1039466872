use super::*;

fn names(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).unwrap();
    entries
        .map(|e| e.unwrap().file_name().to_string_lossy().into_owned())
        .collect()
}

#[test]
fn writes_what_it_was_given_and_leaves_nothing_else() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("reel.wav");
    for depth in [Depth::Int16, Depth::Float32] {
        let mut out = WavOut::create(&path, 44_100, 2, depth).unwrap();
        out.write(&[0.5, -0.25, f32::NAN, 1.5]).unwrap();
        assert_eq!(out.frames(), 2);
        out.finish().unwrap();
        assert_eq!(names(folder.path()), ["reel.wav"]);
        let mut reader = hound::WavReader::open(&path).unwrap();
        assert_eq!(reader.spec().channels, 2);
        if depth == Depth::Int16 {
            let samples: Vec<i16> = reader.samples().map(Result::unwrap).collect();
            assert_eq!(samples, [16384, -8192, 0, 32767]);
        } else {
            let samples: Vec<f32> = reader.samples().map(Result::unwrap).collect();
            assert_eq!(samples, [0.5, -0.25, 0.0, 1.5]);
        }
    }
}

#[test]
fn dropped_half_way_it_leaves_the_older_file_alone() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("jig.wav");
    std::fs::write(&path, "older").unwrap();
    let mut out = WavOut::create(&path, 8_000, 1, Depth::Int16).unwrap();
    out.write(&[0.1; 4_000]).unwrap();
    assert_eq!(names(folder.path()).len(), 2);
    drop(out);
    assert_eq!(names(folder.path()), ["jig.wav"]);
    assert_eq!(std::fs::read(&path).unwrap(), b"older");
}

#[test]
fn a_small_file_is_written_whole() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("card.html");
    whole(&path, b"<html> older and longer").unwrap();
    whole(&path, b"<html> new").unwrap();
    assert_eq!(std::fs::read(&path).unwrap(), b"<html> new");
    assert_eq!(names(folder.path()), ["card.html"]);
    std::fs::write(&path, b"").unwrap();
    whole(&path, b"new").unwrap();
    let other = whole(&path, b"title = \"The Weir\"")
        .unwrap_err()
        .to_string();
    assert!(
        other.contains("card.html: another kind of file is there"),
        "{other}"
    );
    assert_eq!(std::fs::read(&path).unwrap(), b"new");
    let nowhere = whole(&folder.path().join("no/card.html"), b"x");
    assert!(matches!(nowhere, Err(WriteError::NoFolder { .. })));
}

#[test]
fn a_recording_is_not_written_over_and_what_was_written_before_is() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("reel.wav");
    for sample in [0.25, 0.5] {
        let mut out = WavOut::create_signed(&path, 8_000, 1, Depth::Int16).unwrap();
        out.write(&[sample; 3]).unwrap();
        out.finish().unwrap();
        let bytes = std::fs::read(&path).unwrap();
        let whole = u32::from_le_bytes(bytes[4..8].try_into().unwrap());
        assert_eq!(whole as usize + 8, bytes.len());
        let reader = hound::WavReader::open(&path).unwrap();
        assert_eq!((reader.spec().channels, reader.duration()), (1, 3));
    }
    let mut own = WavOut::create(&path, 8_000, 1, Depth::Int16).unwrap();
    own.write(&[0.5; 3]).unwrap();
    own.finish().unwrap();
    let refused = WavOut::create_signed(&path, 8_000, 1, Depth::Int16)
        .err()
        .unwrap();
    let refused = refused.to_string();
    assert!(
        refused.contains("reel.wav: there is a recording"),
        "{refused}"
    );
    assert_eq!(names(folder.path()), ["reel.wav"]);
}

#[test]
fn says_what_is_wrong_with_the_place() {
    let folder = tempfile::tempdir().unwrap();
    let say = |path: &Path| {
        WavOut::create(path, 8_000, 1, Depth::Int16)
            .err()
            .unwrap()
            .to_string()
    };
    let missing = say(&folder.path().join("no/where.wav"));
    assert!(
        missing.contains("where.wav: its folder does not exist"),
        "{missing}"
    );
    let is_folder = say(folder.path());
    assert!(is_folder.contains("this is a folder"), "{is_folder}");
    assert!(WavOut::create(folder.path().join("x.wav"), 0, 1, Depth::Int16).is_err());
    assert!(WavOut::create(folder.path().join("x.wav"), 8_000, 0, Depth::Int16).is_err());
    assert!(names(folder.path()).is_empty());
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_called_one() {
    // A file can only be renamed within its disk, so try the text alone.
    let full = WriteError::io(Path::new("a.wav"), ErrorKind::StorageFull.into());
    assert_eq!(
        full.to_string(),
        "a.wav: the disk is full; make room or write to another disk"
    );
}
