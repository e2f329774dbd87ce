//! The file of corrections under test: what is read, what is written, what is refused.

use super::*;

fn parse(text: &str) -> Result<Corrections, Fault> {
    Corrections::parse(text, Path::new(CORRECTIONS))
}

const HEAD: &str = "field,thing,x_um,y_um,change,to,reason,by,at\n";

#[test]
fn what_is_read_is_written_and_read_again() {
    let text = "field,thing,x_um,y_um,change,to,reason,by,at\r\n\
                f01.tif,object,12.5,3,kind,hollow,a bubble,R4,2026-03-04\r\n\
                \"a,b.tif\",gap,0,1e-9,kind,crack,\"said \"\"crack\"\"\r\nin two lines\",,2026-03-04T09:15:00+01:00\r\n\
                stack.tif#2,field,,,leave_out,,overlap: repeats f01,R4,\r\n";
    let read = parse(text).unwrap();
    let changes: Vec<Change> = read.lines.iter().map(|line| line.change).collect();
    assert_eq!(changes, [Change::Object([12.5, 3.0], Kind::Hollow), Change::Gap([0.0, 1e-9], GapKind::Crack), Change::LeaveOut]);
    assert_eq!(read.lines.iter().map(|line| line.line).collect::<Vec<_>>(), [2, 3, 5]);
    assert_eq!(read.lines[1].reason, "said \"crack\"\r\nin two lines");
    assert_eq!(String::from_utf8(read.csv()).unwrap(), text);
}

#[test]
fn columns_in_any_order_and_only_those_that_are_needed() {
    let read = parse("\u{20}reason , thing,change,field\n\n,,,\nout of focus,field,leave_out,f.tif\n").unwrap();
    assert_eq!((read.lines.len(), read.lines[0].reason.as_str(), read.lines[0].line), (1, "out of focus", 4));
    assert_eq!(parse("reason,thing,change,field").unwrap(), Corrections::default());
    // Numbers have the digits of a record, so that a record's own file gives the same places.
    let read = parse(&(HEAD.to_owned() + "f.tif,object,1.23456789123,2,kind,dust,r,,\n")).unwrap();
    assert_eq!(read.lines[0].change, Change::Object([1.234_567_89, 2.0], Kind::Dust));
}

#[test]
fn what_a_spreadsheet_must_not_run_comes_back_as_it_was() {
    let read = parse(&(HEAD.to_owned() + "'-f.tif,field,,,leave_out,,'=1+1,@me,\n'=g.tif,field,,,leave_out,,'tis,,\n")).unwrap();
    let cells: Vec<_> = read.lines.iter().flat_map(|line| [&line.field, &line.reason, &line.by]).map(String::as_str).collect();
    assert_eq!(cells, ["-f.tif", "=1+1", "@me", "=g.tif", "'tis", ""]);
    let written = String::from_utf8(read.csv()).unwrap();
    assert!(written.contains("'-f.tif,field,,,leave_out,,'=1+1,'@me,\r\n"), "{written}");
    assert_eq!(parse(&written).unwrap(), read);
    let lines = |text: &str| parse(text).unwrap().lines.iter().map(|line| line.line).collect::<Vec<_>>();
    for end in ["\n", "\r\n", "\r"] {
        assert_eq!(lines(&written.replace("\r\n", end)), [2, 3], "{end:?}");
    }
}

#[test]
fn what_is_refused_says_where_and_what_to_do() {
    let line = |text: &str| format!("{HEAD}{text}\n");
    let cases = [
        (String::new(), "0: the file of corrections is empty", "begin it with the line field,"),
        ("field,thing,change,why".into(), "1: unknown column why; the nearest known one is", "correct or remove it"),
        ("field;thing;change".into(), "1: unknown column field;thing;change", "with commas"),
        ("field,thing,change,reason,to,to".into(), "1: the column to stands twice", "remove one"),
        ("field,thing,change".into(), "1: the column reason is missing", "the header is field,"),
        (line("f.tif,objekt,1,1,kind,dust,r,,"), "2: thing is objekt; known are object, gap, field", "the nearest is object"),
        (line("f.tif,object,1,1,kinds,dust,r,,"), "2: change is kinds; known are kind, leave_out", "the nearest is kind"),
        (
            line("f.tif,object,1,1,kind,fiber,r,,"),
            "2: to is fiber; known are powder, hollow, fibre, crystal, dust, unsure",
            "the nearest is fibre",
        ),
        (line("f.tif,gap,1,1,kind,dust,r,,"), "2: to is dust; known are round, crack, dewetting, streak, unsure", "the nearest is"),
        (line("f.tif,object,1,1,kind,,r,,"), "2: to is empty; known are powder", "the nearest is"),
        (line("f.tif,object,1,1,leave_out,,r,,"), "2: leave_out is for fields, not for an object", "give it a kind"),
        (line("f.tif,gap,1,1,leave_out,,r,,"), "2: leave_out is for fields, not for a gap", "give it a kind"),
        (line("f.tif,field,,,kind,dust,r,,"), "2: a field has no kind", "write leave_out"),
        (line("f.tif,field,1,,leave_out,,r,,"), "2: x_um means nothing where a whole field is left out", "leave it empty"),
        (line("f.tif,object,,1,kind,dust,r,,"), "2: x_um is empty; wanted is a number of µm", "12.5"),
        (line("f.tif,object,1,\"12,5\",kind,dust,r,,"), "2: y_um is 12,5; wanted is a number", "a point for the decimals"),
        (line("f.tif,object,1,NaN,kind,dust,r,,"), "2: y_um is NaN; wanted is a number", "12.5"),
        (line("f.tif,object,inf,1,kind,dust,r,,"), "2: x_um is inf; wanted is a number", "12.5"),
        (line("f.tif,object,1,1,kind,dust, ,,"), "2: reason is empty", "say why"),
        (line(",object,1,1,kind,dust,r,,"), "2: field is empty", "name the picture"),
        (line("f.tif,object,1,1,kind,dust,r,,04.03.2026"), "2: at is 04.03.2026, which is no date", "2026-03-04"),
        (line("f.tif,object,1,1,kind,dust,r,,2026-02-30"), "2: at is 2026-02-30", "2026-03-04"),
        (line("f.tif,object,1,1,kind,dust,r"), "2: the line has 7 cells, the header 9", "quotes"),
        (line("f.tif,object,1,1,kind,dust,r,,\nf.tif,object,1,1,kind,dust,a, b,R4,"), "3: the line has 10 cells, the header 9", "quotes"),
    ];
    for (text, expected, remedy) in cases {
        let fault = parse(&text).unwrap_err();
        let found = format!("{}: {}", fault.line.unwrap_or(0), fault.message);
        assert!(
            found.starts_with(expected) && fault.remedy.contains(remedy),
            "{text}\n  gave      {found} ({})\n  expected  {expected}",
            fault.remedy
        );
        assert_eq!(fault.file.as_deref(), Some(Path::new(CORRECTIONS)));
    }
}

#[test]
fn a_reason_decides_where_its_first_word_is_the_recipes() {
    let (with, mut without) = (Recipe::default(), Recipe::default());
    without.fields.reject.clear();
    for (reason, decides) in
        [("overlap", true), (" overlap ", true), ("overlap: shows f02 again", true), ("overlaps", false), ("no overlap", false)]
    {
        let line = parse(&format!("{HEAD}f.tif,field,,,leave_out,,{reason},,\n")).unwrap().lines.remove(0);
        assert_eq!((line.decides(&with), line.decides(&without)), (decides, false), "{reason}");
    }
}

#[test]
fn fields_are_left_out_and_taken_back_and_saved() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(CORRECTIONS);
    Corrections::default().save(folder.path()).unwrap();
    assert!(!path.exists(), "nothing to say, nothing written");

    let said = HEAD.to_owned() + "f01.tif,object,1,2,kind,dust,a speck,,\n\nf02.tif,field,,,leave_out,,soft,R1,\n";
    std::fs::write(&path, &said).unwrap();
    Corrections::beside(folder.path()).unwrap().save(folder.path()).unwrap();
    assert_eq!(std::fs::read_to_string(&path).unwrap(), said, "what says the same is not written anew");
    let leave_out = |corrections: &mut Corrections| {
        corrections.leave_out("f01.tif", " overlap: \"shows\" f02, again ", "R4", "2026-03-04")?;
        corrections.leave_out("f02.tif", "=out of focus", "R4", "")
    };
    let saved = Corrections::change(folder.path(), leave_out).unwrap();
    let expected = "field,thing,x_um,y_um,change,to,reason,by,at\r\nf01.tif,object,1,2,kind,dust,a speck,,\r\n\
        f01.tif,field,,,leave_out,,\"overlap: \"\"shows\"\" f02, again\",R4,2026-03-04\r\nf02.tif,field,,,leave_out,,'=out of focus,R4,\r\n";
    assert_eq!(std::fs::read_to_string(&path).unwrap(), expected);
    assert_eq!(saved.lines.iter().map(|line| line.line).collect::<Vec<_>>(), [2, 3, 4]);
    assert_eq!(saved.lines.iter().map(|line| line.decides(&Recipe::default())).collect::<Vec<_>>(), [false, true, false]);

    let mut left = saved;
    assert!(left.take_back("f01.tif") && !left.take_back("f01.tif") && left.take_back("f02.tif"));
    assert_eq!(left.lines.len(), 1, "its object stays corrected");
    left.lines.clear();
    left.save(folder.path()).unwrap();
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
}

#[test]
fn what_cannot_be_left_out_changes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let refused =
        |[field, reason, at]: [&str; 3]| Corrections::change(folder.path(), |c| c.leave_out(field, reason, "R4", at)).unwrap_err().message;
    assert_eq!(refused(["f.tif", "  ", ""]), "reason is empty");
    assert_eq!(refused([" ", "soft", ""]), "field is empty");
    assert!(refused(["f.tif", "soft", "yesterday"]).contains("no date and no moment"));
    let path = folder.path().join(CORRECTIONS);
    assert!(!path.exists());
    std::fs::write(&path, "their own notes").unwrap();
    assert!(Corrections::default().save(folder.path()).is_err(), "a file that is not of corrections is not removed");
    assert_eq!(std::fs::read(&path).unwrap(), b"their own notes");
}
