//! Whether this product may be given, and how: species, make, date, what was lost.

use crate::code::Parasite;
use crate::unit::POUNDS;

use super::case::{Case, Findings};
use super::code::Code;
use super::input::{Make, Species};
use super::setting::{Fit, Syringe};

/// Looks at the product in the hand.
pub(super) fn look(case: &Case<'_>, found: &mut Findings) {
    let name = &case.active.name;
    if let Some(held) = &case.product {
        let other = held
            .species
            .is_some_and(|species| species != Species::Horse);
        let not_by_mouth = matches!(held.make, Some(Make::Injection | Make::PourOn));
        if other || not_by_mouth {
            found.refuse(
                Code::NotForHorses,
                "give horses only what is labelled for horses and given by mouth: products for other animals, injections and pour-ons are not",
            );
        }
        let syringe = held.mark.is_some()
            || matches!(held.make, Some(Make::Paste | Make::Gel | Make::Drench));
        if case.active.feed_only && syringe {
            found.refuse(
                Code::FeedOnly,
                format!("{name} goes into the feed alone, never by syringe or tube"),
            );
        }
        if held.zero_first {
            found
                .basis
                .caution("set the ring to zero first and throw away what comes out");
        }
    }
    tapeworm(case, found);
    expired_or_lost(case, found);
}

/// Case 7: the tapeworm dose of pyrantel is twice the usual one, and few labels name it.
fn tapeworm(case: &Case<'_>, found: &mut Findings) {
    let claimed = case
        .product
        .as_ref()
        .is_some_and(|held| held.tapeworm_claim);
    let labelled = case
        .doses()
        .any(|row| row.parasites.contains(&Parasite::Tapeworm));
    if case.parasite == Parasite::Tapeworm && labelled && !claimed {
        found.warn(
            Code::TapewormOffLabel,
            format!(
                "of {} products only those of 226 mg base/mL name tapeworm on the label; any other is off the label: ask your vet",
                case.active.name
            ),
        );
    }
}

/// Case 18.
fn expired_or_lost(case: &Case<'_>, found: &mut Findings) {
    let expires = case
        .input
        .product
        .as_ref()
        .and_then(|product| product.expiration_date);
    if let Some(expires) = expires
        && expires.latest() < case.input.on
    {
        found.warn(
            Code::LotExpired,
            format!("it expired ({expires}): use another, or the dose counts as partial"),
        );
    }
    if case.input.partly_lost == Some(true) {
        let text = match case.narrow() {
            Some(active) => format!(
                "part of it was lost: the dose counts as partial; never give {} again to make up for it, ask your vet",
                active.name
            ),
            None => {
                "part of it was lost: the dose counts as partial; ask your vet before you give more"
                    .to_owned()
            }
        };
        found.warn(Code::PartlyLost, text);
    }
}

/// Looks at how the marks go with the syringe.
pub(super) fn marks(syringe: Syringe, found: &mut Findings) {
    let unit = syringe.mark.unit.name;
    match syringe.fit() {
        Fit::Whole(_) | Fit::Unknown => {}
        Fit::OtherUnit(marks) => {
            let other = if syringe.mark.unit == POUNDS {
                "kg"
            } else {
                "lb"
            };
            found.refuse(
                Code::UnitSlip,
                format!(
                    "the syringe does not hold a whole number of marks in {unit}, but {marks} of them in {other}: which is on it?"
                ),
            );
        }
        Fit::TooBig => found.refuse(
            Code::MarksDoNotFit,
            "one mark would treat more than the whole syringe holds: read its label again",
        ),
        Fit::Rest(marks) => found.warn(
            Code::MarksDoNotFit,
            format!("the syringe holds {marks} marks and a rest: read its label again"),
        ),
    }
}
