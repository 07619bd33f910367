//! One horse: what to know before handling it, who it is, and what happened last.

use actix_web::HttpResponse;
use actix_web::web::{Data, Path};
use chrono::NaiveDate;
use maud::{Markup, html};
use whorl_care::figure::due::{Item, Status};
use whorl_care::horse::{CareEvent, Horse as Profile};
use whorl_care::ids::HorseId;
use whorl_care::kind::Role;
use whorl_care::reading::Way;
use whorl_care::rules::Rules;
use whorl_care::sentence;
use whorl_care::unit::plain;
use whorl_care::when::PartialDate;
use whorl_contract::history::HistoryEntry;
use whorl_contract::horse::Horse;
use whorl_store::{StoreError, barns};

use super::entry::{self, Heading};
use super::herd::caution_box;
use super::visitor::Visitor;
use super::{due, html as page, layout, words};
use crate::chart::{self, Drawn};
use crate::due_board::{self, Asker};
use crate::history::{self, Wanted};
use crate::problem::Problem;
use crate::readings::By;
use crate::state::State;
use crate::{access, care_log};

/// So many entries stand on the page of a horse.
const LATEST: usize = 8;

/// A part of what there is to see of a horse.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Part {
    /// The page of the horse.
    Overview,
    /// All that happened.
    History,
    /// Whether it may enter a show.
    Entry,
    /// Who may see it.
    Grants,
    /// Links for whoever has no account.
    Shares,
    /// Who read it.
    Readings,
}

impl Part {
    /// Whether whoever sees the horse so has a use for it.
    fn is_for(self, horse: &Horse) -> bool {
        !matches!(self, Self::Shares | Self::Readings) || horse.roles.contains(&Role::Owner)
    }

    fn path(self, horse: HorseId) -> String {
        match self {
            Self::Overview => format!("/horses/{horse}"),
            Self::History => format!("/horses/{horse}/history"),
            Self::Entry => format!("/horses/{horse}/entry"),
            Self::Grants => format!("/horses/{horse}/grants"),
            Self::Shares => format!("/horses/{horse}/shares"),
            Self::Readings => format!("/horses/{horse}/readings"),
        }
    }
}

/// The name of the horse, and the ways to its other parts.
pub(super) fn head(horse: &Horse, here: Part) -> Markup {
    let (name, parts) = (
        words::horse_name(horse),
        [
            (Part::Overview, "Overview"),
            (Part::History, "History"),
            (Part::Entry, "May it enter?"),
            (Part::Grants, "Who may see"),
            (Part::Shares, "Share it"),
            (Part::Readings, "Who read it"),
        ],
    );
    let title = parts
        .iter()
        .find(|(part, _)| *part == here)
        .map(|(_, title)| *title);
    html! {
        h1 {
            (name)
            @if here != Part::Overview {
                @if let Some(title) = title { ": " span.part { (title.to_lowercase()) } }
            }
        }
        nav.parts aria-label="Parts of this horse's record" {
            ul {
                @for (part, title) in parts.into_iter().filter(|(part, _)| part.is_for(horse)) {
                    li {
                        a href=(part.path(horse.id)) aria-current=[(part == here).then_some("page")] { (title) }
                    }
                }
            }
        }
    }
}

/// What to do where nothing is on record.
pub(super) fn nothing_yet() -> Markup {
    html! {
        p {
            "Nothing is recorded yet that you may see. Record the first entry with " code { "whorl record" }
            " on your device, or let in who does with " code { "whorl invite" } "."
        }
    }
}

/// Shows a horse.
pub(super) async fn show(
    state: Data<State>,
    visitor: Visitor,
    horse: Path<String>,
) -> Result<HttpResponse, Problem> {
    let id = horse_id(&horse)?;
    let now = state.clock.now();
    let account = visitor.caller.account;
    let wanted = Wanted {
        kinds: Vec::new(),
        from: None,
        until: None,
        retracted: false,
        cursor: None,
        limit: LATEST,
    };
    let asker = Asker {
        account,
        now,
        on: None,
    };
    let (log, barn, latest) = state
        .read(move |db| {
            let (row, access) = access::horse(db, account, id, now)?;
            let (latest, _) = history::page(db, row.id, row.head_seq, &access, &wanted)?;
            let barn = barns::get(db, row.barn_id)?;
            Ok::<_, StoreError>((care_log::one(db, (row, access))?, barn, latest))
        })
        .await?;
    let by = By::Account(account);
    for way in [Way::Profile, Way::History, Way::Due] {
        state.note(by, way, &id);
    }
    let on = care_log::today(&barn, now);
    let due = due_board::of_log(&log, &barn, asker, &state.rules);
    let pictures = pictures(log.events(), &due, on, &state.rules);
    let horse = log.horse;
    let main = main(&horse, &due, &pictures, &latest, on);
    Ok(page(layout::page(
        &visitor,
        &words::horse_name(&horse),
        &main,
    )?))
}

/// The horse of an address; what is no id has no horse.
pub(super) fn horse_id(text: &str) -> Result<HorseId, Problem> {
    text.parse().map_err(|_| Problem::not_found())
}

/// What there is to look at, from the events that the visitor may see.
fn pictures(log: &[CareEvent], due: &[Item], on: NaiveDate, rules: &Rules) -> Vec<Drawn> {
    let mut drawn = vec![
        chart::weight(log, on, rules),
        chart::egg_counts(log, on, rules),
        chart::toe_length(log, on),
        chart::toe_angle(log, on),
        chart::vaccinations(log, due, on),
    ];
    drawn.retain(|picture| !picture.is_empty());
    drawn
}

fn main(
    horse: &Horse,
    due: &[Item],
    pictures: &[Drawn],
    latest: &[HistoryEntry],
    on: NaiveDate,
) -> Markup {
    html! {
        (head(horse, Part::Overview))
        @if let Some(caution) = &horse.handling { (caution_box(caution)) }
        (what_is_due(due, on))
        @if !pictures.is_empty() {
            section aria-labelledby="pictures" {
                h2 id="pictures" { "How it went" }
                div.pictures { @for picture in pictures { (picture) } }
            }
        }
        section aria-labelledby="profile" {
            h2 id="profile" { "Who it is" }
            (profile(&horse.profile, on))
        }
        section aria-labelledby="latest" {
            h2 id="latest" { "What happened last" }
            @if latest.is_empty() {
                (nothing_yet())
            } @else {
                (entry::list(latest, Heading::Third))
                p.ways { a href=(Part::History.path(horse.id)) { "The whole history" } }
            }
        }
    }
}

fn what_is_due(items: &[Item], on: NaiveDate) -> Markup {
    let (rest, pressing): (Vec<&Item>, Vec<&Item>) = items
        .iter()
        .partition(|item| item.status == Status::UpToDate);
    html! {
        section aria-labelledby="due" {
            h2 id="due" { "What is due" }
            @if pressing.is_empty() { p { "Nothing, as far as you may see." } }
            ul.tasks { @for item in &pressing { (due::task(item, None, on)) } }
            @if !rest.is_empty() {
                details.part {
                    summary { h3 { "Up to date (" (rest.len()) ")" } }
                    ul.tasks { @for item in &rest { (due::task(item, None, on)) } }
                }
            }
        }
    }
}

fn profile(horse: &Profile, on: NaiveDate) -> Markup {
    let line = words::horse_line(horse, on);
    let risks: Vec<String> = horse
        .risks
        .iter()
        .map(|risk| sentence::words(risk.code()))
        .collect();
    let facts = [
        ("In short", Some(line).filter(|line| !line.is_empty())),
        ("Registered as", horse.registered_name.clone()),
        (
            "Foaled",
            horse
                .foaled_on
                .and_then(PartialDate::exact)
                .map(sentence::day),
        ),
        ("Markings", horse.markings.clone()),
        (
            "Last weight",
            horse.weight_kg.map(|kg| format!("{} kg", plain(kg))),
        ),
        (
            "Shod",
            horse
                .shod
                .map(|shod| if shod { "yes" } else { "no" }.to_owned()),
        ),
        (
            "In foal",
            horse.pregnancy.map(|pregnancy| {
                pregnancy.covered_on.map_or_else(
                    || "yes".to_owned(),
                    |on| format!("covered on {}", sentence::day(on)),
                )
            }),
        ),
        ("Chip", horse.microchip.clone()),
        ("Life number (UELN)", horse.ueln.clone()),
        (
            "Risks",
            Some(risks.join(", ")).filter(|text| !text.is_empty()),
        ),
    ];
    html! {
        @if facts.iter().all(|(_, value)| value.is_none()) {
            p { "Nothing is recorded yet of who it is." }
        } @else {
            dl.facts {
                @for (name, value) in &facts {
                    @if let Some(value) = value {
                        div { dt { (name) } dd { (value) } }
                    }
                }
            }
        }
    }
}
