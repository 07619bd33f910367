//! `whorl barn`: the places where horses stand.

use chrono_tz::Tz;
use whorl_contract::barn::{Barn, BarnDetails};
use whorl_contract::path;

use crate::desk::Desk;
use crate::failure::Failure;
use crate::herd;
use crate::render::Sheet;

/// Open a barn, or list those that you may see
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    /// Open a barn of your own (needs a connection)
    Add {
        /// Its name
        name: String,
        /// Its time zone, such as Europe/London: days there begin and end by it
        #[arg(long, value_name = "ZONE")]
        time_zone: Tz,
        /// Where it lies, for seasons and rules: an ISO 3166 code such as gb or us-fl
        #[arg(long, value_name = "CODE")]
        region: Option<String>,
    },
    /// List barns
    List,
}

impl Args {
    /// Opens or lists.
    ///
    /// # Errors
    ///
    /// [`Failure::Offline`] if a barn is opened without a connection.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        match self.what {
            What::List => list(desk),
            What::Add {
                name,
                time_zone,
                region,
            } => {
                let details = BarnDetails {
                    name,
                    time_zone: time_zone.name().to_owned(),
                    region,
                };
                let mut remote = desk.remote()?;
                let barn: Barn = remote.post(path::BARNS, &details)?;
                let mut conn = desk.database()?;
                let mut barns = herd::barns(&mut conn)?;
                barns.push(barn.clone());
                herd::put_barns(&mut conn, &barns)?;
                desk.show(&barn, || {
                    Sheet::new().line(format!("{} is open. Its id is {}.", barn.name, barn.id))
                })
            }
        }
    }
}

fn list(desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
    let barns = herd::barns(&mut desk.database()?)?;
    desk.show(&barns, || {
        let rows = barns.iter().map(|barn| {
            vec![
                barn.name.clone(),
                barn.time_zone.clone(),
                barn.region.clone().unwrap_or_default(),
                barn.id.to_string(),
            ]
        });
        Sheet::new().table(
            &["barn", "time zone", "region", "id"],
            rows,
            "No barns on this device; `whorl barn add` opens one, `whorl sync` fetches those you may see.",
        )
    })
}
