//! Input that cannot be used, end to end: each kind has a message of its own that names the place and the remedy, and leaves nothing
//! behind.

use super::*;

/// A grey 16-bit or 8-bit TIFF of one count everywhere: size, bits, count, and pixels per cm where it states a scale.
fn tiff([width, height]: [u32; 2], bits: u16, count: u16, per_cm: Option<u32>) -> Vec<u8> {
    let bytes = width * height * u32::from(bits / 8);
    let entry = |tag: u16, kind: u16, value: u32| {
        let head = [tag, kind].into_iter().flat_map(u16::to_le_bytes);
        head.chain([1, value].into_iter().flat_map(u32::to_le_bytes)).collect::<Vec<u8>>()
    };
    let mut entries = vec![entry(256, 4, width), entry(257, 4, height), entry(258, 3, bits.into()), entry(259, 3, 1), entry(262, 3, 1)];
    let tags: u32 = if per_cm.is_some() { 12 } else { 9 };
    let after = 8 + 2 + 12 * tags + 4;
    entries.extend([entry(273, 4, after + 8), entry(277, 3, 1), entry(278, 4, height), entry(279, 4, bytes)]);
    if per_cm.is_some() {
        entries.extend([entry(282, 5, after), entry(283, 5, after), entry(296, 3, 3)]);
    }
    let head = [b"II*\0".to_vec(), 8_u32.to_le_bytes().to_vec(), u16::try_from(tags).unwrap().to_le_bytes().to_vec()];
    let tail = [0_u32, per_cm.unwrap_or(1), 1].into_iter().flat_map(u32::to_le_bytes);
    let sample = if bits == 8 { vec![count.to_le_bytes()[0]] } else { count.to_le_bytes().to_vec() };
    head.into_iter().chain(entries).flatten().chain(tail).chain(sample.repeat((width * height) as usize)).collect()
}

/// A TIFF without pixels that claims a size.
fn claiming(size: u32) -> Vec<u8> {
    let mut file = tiff([1, 1], 16, 0, None);
    // Width, height, and rows of the one strip.
    for (place, value) in [(18, size), (30, size), (102, size.max(1))] {
        file[place..place + 4].copy_from_slice(&value.to_le_bytes());
    }
    file
}

const SIZE: [u32; 2] = [320, 240];

fn put(folder: &Path, name: &str, content: impl AsRef<[u8]>) {
    fs::write(folder.join(name), content).unwrap();
}

/// Changes the sheet of a lot; what is to be replaced must be there.
fn edit(folder: &Path, from: &str, to: &str) {
    let sheet = fs::read_to_string(folder.join("batch.toml")).unwrap();
    assert!(sheet.contains(from), "{from}");
    put(folder, "batch.toml", sheet.replace(from, to));
}

fn cut(folder: &Path, name: &str, share: usize) {
    let content = fs::read(folder.join(name)).unwrap();
    put(folder, name, &content[..content.len() / share]);
}

/// What is done to a good lot, and words of the complaint: what, where, what to do.
type Case = (fn(&Path), [&'static str; 3]);

/// Pictures of 8 bits in a lot whose sheet does not say what they stand for.
fn eight_bits_without_tone(lot: &Path) {
    for (name, count) in [("blank.tif", 200), ("f01.tif", 90), ("f02.tif", 90)] {
        put(lot, name, tiff(SIZE, 8, count, None));
    }
    edit(lot, "tone = \"linear\"\n", "");
}

/// Fields that state no scale, and a sheet that does not either.
fn without_scale(lot: &Path) {
    for name in ["f01.tif", "f02.tif"] {
        put(lot, name, tiff(SIZE, 16, 20_000, None));
    }
    edit(lot, "um_per_px = 0.25\n", "");
}

const SHEETS: &[Case] = &[
    (|lot| fs::remove_file(lot.join("batch.toml")).unwrap(), ["there is no sheet batch.toml", "lot)", "um_per_px = 0.25"]),
    (
        |lot| edit(lot, "um_per_px", "um_per_pixl"),
        ["unknown key um_per_pixl in [microscope]; the nearest known one is um_per_px", "line 6", "correct"],
    ),
    (|lot| edit(lot, "um_per_px = 0.25", "um_per_px = 0,25"), ["not valid TOML", "batch.toml, line 6", "decimal points"]),
    (
        |lot| edit(lot, "um_per_px = 0.25", "um_per_px = 0"),
        ["um_per_px in [microscope] is 0; it must be above 0", "line 6", "correct the value"],
    ),
    (|lot| edit(lot, "um_per_px = 0.25", "um_per_px = -1"), ["um_per_px in [microscope] is -1", "line 6", "correct the value"]),
    (|lot| edit(lot, "\"phantom-film-1\"", "\" \""), ["the name of the lot is empty", "line 2", "name the lot"]),
    (without_scale, ["the scale is missing", "f01.tif", "um_per_px"]),
    (|lot| put(lot, "f02.tif", tiff(SIZE, 16, 20_000, Some(39_000))), ["two scales disagree", "f02.tif", "um_per_px"]),
    (eight_bits_without_tone, ["8-bit counts can stand for light in two ways", "f01.tif", "tone = \"srgb\""]),
];

const PICTURES: &[Case] = &[
    (|lot| put(lot, "blank.tif", tiff([320, 200], 16, 60_000, None)), ["the blank is 320 × 200 pixels", "blank.tif", "one camera setting"]),
    (|lot| put(lot, "blank.tif", tiff(SIZE, 16, 0, None)), ["the blank is black", "blank.tif", "lamp and shutter"]),
    (|lot| put(lot, "blank.tif", tiff(SIZE, 16, u16::MAX, None)), ["full scale everywhere", "blank.tif", "expose less"]),
    (|lot| cut(lot, "f02.tif", 2), ["cut short", "f02.tif", "copy it again"]),
    (|lot| cut(lot, "f02.tif", usize::MAX), ["the file is empty", "f02.tif", "copy it again"]),
    (|lot| put(lot, "f02.tif", "Dear colleague"), ["neither TIFF, PNG, JPEG nor BMP", "f02.tif", "save the field as"]),
    (|lot| put(lot, "f02.tif", claiming(0)), ["the picture is empty: 0 × 0 pixels", "f02.tif", "take or export it again"]),
    (|lot| put(lot, "f02.tif", claiming(u32::MAX)), ["claims 4294967295 × 4294967295 pixels", "f02.tif", "cut a larger slide"]),
    (|lot| put(lot, "f02.tif", claiming(40_000)), ["cut short: it claims 40000 × 40000 pixels", "f02.tif", "copy it again"]),
];

#[test]
fn each_kind_has_a_message_of_its_own_and_leaves_nothing() {
    let bench = Bench::new();
    let good = bench.path("lot");
    let names = ["batch.toml", "blank.tif", "f01.tif", "f02.tif"];
    let content = names.map(|name| fs::read(good.join(name)).unwrap());
    for (spoil, words) in SHEETS.iter().chain(PICTURES) {
        names.iter().zip(&content).for_each(|(name, content)| put(&good, name, content));
        spoil(&good);
        let done = bench.run(&["measure", "lot", "--out", "out"]);
        let said = text(&done.stderr);
        assert_eq!(code(&done), Some(2), "{said}");
        assert!(words.iter().all(|word| said.contains(word)), "{words:?} in:\n{said}");
        assert!(done.stdout.is_empty() && !bench.path("out").exists(), "{said}");
    }
}

#[test]
fn an_empty_folder_and_none_at_all() {
    let bench = Bench(tempfile::tempdir().unwrap());
    fs::create_dir(bench.path("empty")).unwrap();
    for (folder, words) in [("empty", "the folder is empty"), ("none", "there is no such folder")] {
        let done = bench.run(&["measure", folder, "--out", "out"]);
        assert_eq!(code(&done), Some(2));
        assert!(text(&done.stderr).contains(words) && text(&done.stderr).contains("give"), "{}", text(&done.stderr));
        assert!(!bench.path("out").exists());
    }
}

#[test]
fn a_poor_picture_is_a_result_with_a_flag() {
    let bench = Bench::new();
    for (count, flag) in [(0, "black"), (u16::MAX, "clipped"), (20_000, "no_objects")] {
        put(&bench.path("lot"), "f02.tif", tiff(SIZE, 16, count, None));
        let done = bench.run(&["measure", "lot", "--out", "out", "--json"]);
        assert_eq!(code(&done), Some(0), "{}", text(&done.stderr));
        let flags = &json(&done)["lots"][0]["flags"];
        let found = flags.as_array().unwrap().iter().any(|f| f["id"] == flag && f["field"] == 2 && f["advice"] != "");
        assert!(found, "{flag} in {flags}");
    }
}

#[test]
fn two_lots_of_one_name_are_told_apart() {
    let bench = Bench::new();
    bench.render("again", "320x240", 1);
    let done = bench.run(&["measure", "lot", "again", "--out", "out"]);
    let said = text(&done.stderr);
    assert_eq!(code(&done), Some(1), "one of two is measured");
    assert!(said.contains("another lot of this call is also named phantom-film-1: lot (again/batch.toml)"), "{said}");
    assert!(said.contains("a name of its own"), "{said}");
    assert_eq!(names(&bench.path("out/phantom-film-1")), ["r1"]);
}

/// A small file system in memory where mounting is allowed; it is gone when dropped.
#[cfg(unix)]
struct Mount(PathBuf);

#[cfg(unix)]
impl Mount {
    fn new(place: PathBuf, options: &str) -> Option<Self> {
        fs::create_dir_all(&place).unwrap();
        let mount = Command::new("mount").args(["-t", "tmpfs", "-o", options, "tmpfs"]).arg(&place).output();
        mount.is_ok_and(|done| done.status.success()).then_some(Self(place))
    }
}

#[cfg(unix)]
impl Drop for Mount {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(&self.0).output();
    }
}

#[cfg(unix)]
#[test]
fn a_disk_that_is_full_or_read_only_is_1_and_stays_as_it_was() {
    let bench = Bench::new();
    for (i, (options, words)) in
        [("size=8k", "the disk is full"), ("size=200k", "the disk is full"), ("size=400k", "the disk is full"), ("ro", "read-only")]
            .into_iter()
            .enumerate()
    {
        let place = format!("disk{i}");
        let Some(disk) = Mount::new(bench.path(&place), options) else {
            println!("SKIPPED: mounting a small file system is not allowed here");
            return;
        };
        let done = bench.run(&["measure", "lot", "--out", &format!("{place}/out")]);
        let said = text(&done.stderr);
        assert_eq!(code(&done), Some(1), "{options}: {said}");
        assert!(said.contains(words) && said.contains("output folder"), "{options}: {said}");
        assert_eq!(names(&disk.0), Vec::<String>::new(), "{options}");
    }
}
