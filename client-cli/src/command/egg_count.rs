//! `whorl egg-count`: eggs per gram from what was seen under the microscope.

use whorl_care::figure::egg_count::{Answer, Input, egg_count};
use whorl_care::unit::plain;

use crate::basis;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::recording;
use crate::render::Sheet;

/// Work out eggs per gram from a count, with what chance alone leaves open
///
/// Give the factor of your method, or the volumes that it follows from. `whorl record egg-count` writes a count down.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Eggs seen under the microscope
    #[arg(long)]
    eggs: u32,
    /// Eggs per gram that one egg stands for
    #[arg(long)]
    factor: Option<f64>,
    /// How it was counted: mcmaster, `mini_flotac`, wisconsin, stoll …
    #[arg(long)]
    method: Option<String>,
    /// Chambers counted
    #[arg(long)]
    chambers: Option<u32>,
    /// Volume of one chamber, in millilitres
    #[arg(long, value_name = "ML")]
    chamber_volume: Option<f64>,
    /// Dung weighed out, in grams
    #[arg(long, value_name = "G")]
    feces: Option<f64>,
    /// Flotation fluid added to it, in millilitres
    #[arg(long, value_name = "ML")]
    flotation: Option<f64>,
}

impl Args {
    /// Computes.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] if neither the factor nor the volumes are given, or if they can't be.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let rules = desk.rules()?;
        let input = Input {
            method: self.method,
            eggs_counted: Some(self.eggs),
            multiplication_factor: self.factor,
            chambers: self.chambers,
            chamber_volume_ml: self.chamber_volume,
            feces_g: self.feces,
            flotation_ml: self.flotation,
        };
        let answer = egg_count(&input, &rules).map_err(|faults| {
            recording::spoken(&faults, |field| {
                let flag = match field {
                    "eggs_counted" => "eggs",
                    "multiplication_factor" => "factor",
                    other => other.trim_end_matches("_ml").trim_end_matches("_g"),
                };
                flag.replace('_', "-")
            })
        })?;
        desk.show(&answer, || table(&answer))
    }
}

fn table(answer: &Answer) -> Sheet {
    let sheet = Sheet::new().facts([
        ("eggs per gram", plain(answer.epg)),
        (
            "by chance alone",
            format!(
                "{} to {}",
                plain(answer.low_epg.round()),
                plain(answer.high_epg.round())
            ),
        ),
        ("shedder", answer.shedder.to_string()),
        ("one egg stands for", plain(answer.multiplication_factor)),
    ]);
    basis::under(sheet, &answer.warnings, &answer.cautions, &answer.sources)
}
