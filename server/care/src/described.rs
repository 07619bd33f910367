//! Who a horse is, for somebody who sees a part of its log and a description of it.

use crate::horse::{CareEvent, Horse};
use crate::kind::Kind;

/// Takes from a description what a part of the log doesn't tell: who the horse is, and what changes with time only where
/// no event of its kind is in that part.
pub fn complete(ours: &mut Horse, described: &Horse, events: &[CareEvent]) {
    fn take<T: Clone>(ours: &mut Option<T>, theirs: Option<&T>) {
        if ours.is_none() {
            *ours = theirs.cloned();
        }
    }
    let told = |kind: Kind| events.iter().any(|event| event.kind == kind);
    take(&mut ours.name, described.name.as_ref());
    take(
        &mut ours.registered_name,
        described.registered_name.as_ref(),
    );
    take(&mut ours.sex, described.sex.as_ref());
    take(&mut ours.foaled_on, described.foaled_on.as_ref());
    take(&mut ours.breed_type, described.breed_type.as_ref());
    take(&mut ours.dam_vaccinated, described.dam_vaccinated.as_ref());
    take(
        &mut ours.mature_weight_kg,
        described.mature_weight_kg.as_ref(),
    );
    take(&mut ours.microchip, described.microchip.as_ref());
    take(&mut ours.ueln, described.ueln.as_ref());
    take(&mut ours.colour, described.colour.as_ref());
    take(&mut ours.markings, described.markings.as_ref());
    if ours.risks.is_empty() {
        ours.risks.clone_from(&described.risks);
    }
    if !told(Kind::Breeding) {
        take(&mut ours.pregnancy, described.pregnancy.as_ref());
    }
    if !told(Kind::Weight) {
        take(&mut ours.weight_kg, described.weight_kg.as_ref());
    }
    if !told(Kind::HoofCare) {
        take(&mut ours.shod, described.shod.as_ref());
    }
}
