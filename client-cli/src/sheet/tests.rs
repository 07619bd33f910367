use serde_json::json;

use super::*;

fn read_as(name: &str, text: &str, defaults: &Defaults) -> Read {
    read(Path::new(name), text.as_bytes(), defaults).expect("a text")
}

fn csv(text: &str) -> Read {
    read_as("day.csv", text, &Defaults::default())
}

fn toml(text: &str) -> Read {
    read_as("day.toml", text, &Defaults::default())
}

/// The faults as a person reads them.
fn told(read: &Read) -> Vec<String> {
    let wrong = read.wrong.iter();
    wrong
        .map(|one| format!("{} {}: {}", one.line, one.column, one.detail))
        .collect()
}

#[test]
fn a_table_is_read_by_its_heading() {
    let read = csv("kind,horse,at,weight,method,lot,note\r\n\
         weight,Plover,09:20,1125lb,tape,,\"quiet, for once\"\r\n\
         \r\n\
         vaccination,Teasel,2027-03-04 10:00,,,TV-1,\r\n");
    assert_eq!(told(&read), [""; 0]);
    let first = &read.lines[0];
    assert_eq!((first.number, first.kind), (2, Kind::Weight));
    assert_eq!(
        json!(first.details),
        json!({"weight_lb": 1125.0, "method": "tape"})
    );
    assert_eq!(first.beside.note.as_deref(), Some("quiet, for once"));
    assert_eq!(first.beside.at.as_deref(), Some("09:20"));
    let second = &read.lines[1];
    assert_eq!((second.number, second.kind), (4, Kind::Vaccination));
    assert_eq!(json!(second.details), json!({"lot_number": "TV-1"}));
}

#[test]
fn a_farriers_table_names_feet_in_its_columns() {
    let defaults = Defaults {
        kind: Some(Kind::HoofCare),
        day: Some("2027-03-04".to_owned()),
        folder: PathBuf::from("photos"),
    };
    let text = "horse;at;service;LF.toe;lf.angle;LF.before.toe;LF.findings;RF.shoe;next;photos\n\
         Plover;09:20;trim;84mm;52;3.5in;thrush:2;type=plain,size=2;6;a.jpg; b.jpg\n";
    let read = read_as(
        "day.csv",
        &text.replace("a.jpg; b.jpg", "\"a.jpg; b.jpg\""),
        &defaults,
    );
    assert_eq!(told(&read), [""; 0]);
    let line = &read.lines[0];
    assert_eq!(
        json!(line.details),
        json!({"service": "trim", "next_in_weeks": 6, "feet": {
            "LF": {"after": {"toe_length_mm": 84.0, "toe_angle_deg": 52.0}, "before": {"toe_length_in": 3.5},
                "findings": [{"finding": "thrush", "severity": 2}]},
            "RF": {"shoe": {"type": "plain", "size": "2"}}}})
    );
    assert_eq!(line.beside.at.as_deref(), Some("2027-03-04 09:20"));
    assert_eq!(
        line.beside.photos,
        [Path::new("photos/a.jpg"), Path::new("photos/b.jpg")]
    );
}

#[test]
fn every_fault_of_a_table_is_told_with_line_and_column() {
    let read = csv("kind,horse,weight,wieght,weight,,colour\n\
         weight,Plover,510,,,,\n\
         wait,Plover,,,,,\n\
         ,Plover,,,,,\n\
         weight,,510kg,,,,\n\
         weight,Plover,510kg,,,,bay\n\
         weight,Plover,511kg,,,,,stray\n\
         retraction,Plover,,,,,\n");
    let told = told(&read);
    for wanted in [
        "1 column 6: it has no name",
        "1 weight: there are two columns of this name",
        "1 wieght: there is no such column",
        "2 weight: 510 of what: kg or lb?",
        "3 kind: `wait` is not one of",
        "4 kind: it is missing",
        "5 horse: it is missing",
        "6 colour: weight has no such field",
        "7 column 8: `stray` stands under no heading",
        "8 kind: retraction is about an earlier entry",
    ] {
        assert!(
            told.iter().any(|one| one.starts_with(wanted)),
            "{wanted}: {told:#?}"
        );
    }
    assert!(read.lines.is_empty());
}

#[test]
fn other_faults_of_a_table() {
    assert_eq!(told(&csv("")), ["1 : there is nothing on this sheet"]);
    assert_eq!(
        told(&csv("horse,weight\n")),
        ["1 : there is nothing on this sheet"]
    );
    assert!(told(&csv("weight\n510kg\n"))[0].contains("horse: this column is missing"));
    let twice = csv("kind,horse,lot,lot_number\nvaccination,Plover,A,B\n");
    assert_eq!(told(&twice), ["2 lot_number: lot_number is given twice"]);
    let same =
        csv("kind,horse,weight\nweight,Plover,510kg\nweight,plover,510kg\nweight,Teasel,510kg\n");
    assert_eq!(
        told(&same),
        ["3 horse: it says the same as line 2; take one of them out"]
    );
    let tabs = csv("kind\thorse\tweight\nweight\tPlover\t510kg\n");
    assert_eq!((tabs.lines.len(), tabs.wrong.len()), (1, 0));
    let excel = read(
        Path::new("x.csv"),
        "\u{feff}kind,horse,weight\nweight,Plover,510kg\n".as_bytes(),
        &Defaults::default(),
    );
    assert_eq!(excel.expect("read").lines.len(), 1);
    let latin = read(
        Path::new("x.csv"),
        b"kind,horse\nweight,M\xf6we\n",
        &Defaults::default(),
    );
    assert!(
        latin
            .expect_err("not UTF-8")
            .to_string()
            .contains("x.csv, line 2: this is not UTF-8")
    );
}

#[test]
fn a_toml_sheet_has_an_entry_for_each_horse() {
    let read = toml(
        r#"
kind = "hoof_care"
day = 2027-03-04

[[entry]]
horse = "Plover"
at = "09:20"
service = "trim"
next = 6
[entry.feet.LF.after]
toe = "84mm"
angle = 52.5
[entry.feet.LF]
findings = "thrush:2"

[[entry]]
kind = "weight"
horse = "Teasel"
weight_kg = 310
method = "tape"
"#,
    );
    assert_eq!(told(&read), [""; 0]);
    assert_eq!(
        json!(read.lines[0].details),
        json!({"service": "trim", "next_in_weeks": 6, "feet": {"LF": {
            "after": {"toe_length_mm": 84.0, "toe_angle_deg": 52.5},
            "findings": [{"finding": "thrush", "severity": 2}]}}})
    );
    assert_eq!(read.lines[0].beside.at.as_deref(), Some("2027-03-04 09:20"));
    assert_eq!(
        (read.lines[1].number, read.lines[1].kind),
        (16, Kind::Weight)
    );
    assert_eq!(
        json!(read.lines[1].details),
        json!({"weight_kg": 310, "method": "tape"})
    );
}

#[test]
fn every_fault_of_a_toml_sheet_is_told_with_line_and_key() {
    let read = toml(
        r#"knd = "weight"
[[entry]]
horse = "Plover"
kind = "hoof_care"
service = "trm"
[entry.feet.LF.after]
toe = 84
angel = 52
[[entry]]
kind = "weight"
weight = "510kg"
[[entry]]
horse = "Teasel"
"#,
    );
    let told = told(&read);
    for wanted in [
        "1 knd: there is no such key at the top",
        "5 service: `trm` is not one of",
        "7 feet.LF.after.toe: 84 of what: mm, cm or in?",
        "8 feet.LF.after.angel: there is no field `angel`",
        "9 horse: it is missing",
        "12 kind: it is missing",
    ] {
        assert!(
            told.iter().any(|one| one.starts_with(wanted)),
            "{wanted}: {told:#?}"
        );
    }
    let broken = toml("kind = weight\n[[entry]\n");
    assert!(broken.wrong.iter().any(|one| one.line == 1), "{broken:?}");
    assert!(told_has(
        &toml("kind = \"weight\"\nentry = 3\n"),
        "write [[entry]]"
    ));
    assert!(told_has(&toml("kind = 3\n"), "`3` is not one of"));
}

fn told_has(read: &Read, text: &str) -> bool {
    told(read).iter().any(|one| one.contains(text))
}

#[test]
fn a_template_of_each_kind_has_only_columns_that_can_be_read() {
    for kind in Kind::ALL
        .iter()
        .copied()
        .filter(|kind| !kind.is_about_another())
    {
        let bytes = template::csv(kind, &["Plover".to_owned()]).expect("written");
        let text = String::from_utf8(bytes).expect("UTF-8");
        let read = csv(&text);
        assert_eq!(told(&read), [""; 0], "{kind}");
        assert_eq!(read.lines[0].horse, "Plover", "{kind}");

        let sheet = template::toml(kind, &["Plo\"ver".to_owned()]);
        let read = toml(&sheet);
        assert_eq!(told(&read), [""; 0], "{kind}");
        assert_eq!(read.lines[0].horse, "Plo\"ver", "{kind}");
        // With every mark taken away it is still TOML, and its keys are known.
        let open: String = sheet
            .lines()
            .skip(2)
            .map(|line| line.trim_start_matches("# ").to_owned() + "\n")
            .collect();
        let opened = toml(&open);
        let unknown: Vec<String> = told(&opened)
            .into_iter()
            .filter(|one| one.contains("there is no"))
            .collect();
        assert_eq!(unknown, [""; 0], "{kind}: {open}");
    }
}
