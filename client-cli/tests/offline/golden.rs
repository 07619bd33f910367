//! What people see, word for word: read by a person, kept in `tests/golden`, and compared.
//!
//! `WHORL_UPDATE_GOLDEN=1` writes the files anew, to be read again before they are kept.

use std::fmt::Write as _;
use std::path::Path;

use crate::yard::Yard;

/// Runs commands one after the other and compares everything that they said with a file.
fn compare(yard: &Yard, name: &str, commands: &[&[&str]]) {
    let mut told = String::new();
    for args in commands {
        let ran = yard.run(args);
        let line: Vec<String> = args
            .iter()
            .map(|arg| {
                if arg.contains([' ', ';']) {
                    format!("'{arg}'")
                } else {
                    (*arg).to_owned()
                }
            })
            .collect();
        let line = line.join(" ").replace(&yard.folder(""), "");
        let _ = writeln!(told, "$ whorl {line}");
        let _ = write!(told, "{}{}", ran.err, ran.out);
        if ran.status != 0 {
            let _ = writeln!(told, "[exit {}]", ran.status);
        }
        told.push('\n');
    }
    let told: String = told
        .lines()
        .map(|line| line.trim_end().to_owned() + "\n")
        .collect();
    let file = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/golden")
        .join(name);
    if std::env::var_os("WHORL_UPDATE_GOLDEN").is_some() {
        std::fs::write(&file, &told).expect("written");
    }
    let kept = std::fs::read_to_string(&file).unwrap_or_default();
    assert_eq!(
        told, kept,
        "{name} says something else now; read it, then WHORL_UPDATE_GOLDEN=1"
    );
}

#[test]
fn a_farriers_visit() {
    let yard = Yard::of("farrier");
    yard.wide(120);
    compare(
        &yard,
        "farrier.txt",
        &[
            &[
                "record",
                "trim",
                "Plover",
                "--before",
                "LF:toe=92mm,angle=50",
                "--after",
                "LF:toe=84mm,angle=53",
                "--after",
                "RF:toe=3.25in,angle=52.5",
                "--method",
                "gauge",
                "--finding",
                "LF:thrush:2:central sulcus",
                "--next",
                "6",
                "--handling",
                "Leans on the near hind; have someone hold her.",
                "--visit",
            ],
            &[
                "record",
                "hoof-check",
                "Teasel",
                "--feet",
                "all",
                "--finding",
                "RH:thrush:1",
                "--note",
                "Smells, no pain.",
            ],
            &["record", "trim", "Plover", "--foot", "LF", "--toe", "84"],
            &["record", "vaccination", "Plover", "--against", "tetanus"],
            &[
                "record",
                "hoof-check",
                "Plover",
                "--finding",
                "LF:puncture:2:frog",
            ],
            &["history", "Plover"],
            &["show", "00000004"],
            &[
                "amend",
                "00000004",
                "--reason",
                "Read the gauge wrongly.",
                "--set",
                "feet.LF.after.angle=52",
            ],
            &["hoof", "Plover", "LF"],
            &["history", "Plover"],
        ],
    );
}

#[test]
fn a_vets_day() {
    let yard = Yard::of("vet");
    yard.wide(120);
    let sheet = yard.file(
        "day.csv",
        "kind,horse,at,against,product,lot,expires,dose,route,site,weight,method\n\
         vaccination,Plover,09:00,\"tetanus,influenza\",Tidevax Flu-T,TV-20418,2027-05,1ml,intramuscular,left_neck,,\n\
         vaccination,Teasel,09:10,tetanus,Tidevax T,TV-1,2027-02,1ml,intramuscular,left_neck,,\n\
         weight,Curlew,09:20,,,,,,,,310kg,tape\n\
         weight,Teasel,09:20,,,,,,,,310,\n",
    );
    let right = yard.file(
        "right.csv",
        "kind,horse,at,against,product,lot,expires,dose,route,site,weight,method\n\
         vaccination,Plover,09:00,\"tetanus,influenza\",Tidevax Flu-T,TV-20418,2027-05,1ml,intramuscular,left_neck,,\n\
         weight,Teasel,09:20,,,,,,,,310kg,scale\n",
    );
    compare(
        &yard,
        "vet.txt",
        &[
            &["sheet", "check", &sheet],
            &["sheet", "queue", &right],
            &["sheet", "queue", &right],
            &[
                "record",
                "vaccination",
                "Plover",
                "--against",
                "rabies",
                "--transcribed",
                "--at",
                "2025-06-01",
                "--performed-by",
                "Idris Fenn",
            ],
            &[
                "record",
                "deworming",
                "Teasel",
                "--active",
                "ivermectin",
                "--product",
                "Drovepaste",
                "--lot",
                "DP-7731",
            ],
            &[
                "entry",
                "Plover",
                "--rules",
                "us-show-180-days,eia-12-months",
                "--arrives",
                "2027-03-20",
            ],
        ],
    );
}

#[test]
fn the_figures() {
    let yard = Yard::of("owner");
    yard.wide(120);
    compare(
        &yard,
        "figures.txt",
        &[
            &[
                "weigh", "--girth", "74in", "--length", "65in", "--class", "adult",
            ],
            &[
                "weigh", "--girth", "75cm", "--length", "165cm", "--class", "adult",
            ],
            &[
                "dose",
                "ivermectin",
                "--weight",
                "1125lb",
                "--weight-from",
                "scale",
                "--foaled",
                "2015",
                "--concentration",
                "1.87",
                "--content",
                "6.08g",
                "--mark",
                "250lb",
            ],
            &[
                "dose",
                "moxidectin",
                "--weight",
                "500kg",
                "--weight-from",
                "scale",
            ],
            &[
                "egg-count",
                "--eggs",
                "9",
                "--factor",
                "50",
                "--method",
                "mcmaster",
            ],
            &["figure"],
        ],
    );
}

#[test]
fn the_help() {
    let yard = Yard::of("owner");
    compare(
        &yard,
        "help.txt",
        &[
            &["--help"],
            &["record", "--help"],
            &["record", "trim", "-h"],
            &["record", "vaccination", "-h"],
            &["sheet", "--help"],
        ],
    );
}
