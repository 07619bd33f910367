//! Whether the pack `dewormers` can be dosed by: no impossible row, and nothing lacking.

use super::fact::{ActiveRow, Dose, Form};
use super::limit::LimitName;
use super::pack::Dewormers;

/// A row at fault and the reason.
type Unsound = (String, String);

fn named(id: &str) -> impl FnOnce(String) -> Unsound {
    move |reason| (id.to_owned(), reason)
}

/// Looks at each row alone.
pub(super) fn each(pack: &Dewormers) -> Result<(), Unsound> {
    for row in &pack.active {
        active(pack, row).map_err(named(&row.id))?;
    }
    for row in &pack.dose {
        dose(row).map_err(named(&row.id))?;
    }
    for row in &pack.form {
        form(row).map_err(named(&row.id))?;
    }
    for row in &pack.limit {
        if row.id.parse::<LimitName>().is_err() {
            return Err((row.id.clone(), "there is no such number".to_owned()));
        }
        above_zero("value", row.value).map_err(named(&row.id))?;
    }
    Ok(())
}

/// Looks at the pack with everything laid over it: what rows name must be there.
pub(super) fn whole(pack: &Dewormers) -> Result<(), Unsound> {
    for name in LimitName::ALL {
        if pack.limit(*name).is_err() {
            return Err((name.code().to_owned(), "it is missing".to_owned()));
        }
    }
    for row in &pack.active {
        if pack.class(&row.class).is_none() {
            return Err((row.id.clone(), format!("there is no class `{}`", row.class)));
        }
    }
    let doses = pack.dose.iter().map(|row| (&row.id, &row.active));
    let ages = pack.youngest.iter().map(|row| (&row.id, &row.active));
    let parts = pack
        .form
        .iter()
        .flat_map(|row| row.parts.iter().map(|part| (&row.id, &part.active)));
    for (id, active) in doses.chain(ages).chain(parts) {
        if pack.active(active).is_none() {
            return Err((id.clone(), format!("there is no active `{active}`")));
        }
    }
    for row in &pack.dose {
        let ours = pack.active(&row.active);
        if ours.is_some_and(|active| !active.feed_only && active.marks_go_by.is_none()) {
            let reason = format!("`{}` lacks marks_go_by, which its dose needs", row.active);
            return Err((row.id.clone(), reason));
        }
    }
    Ok(())
}

fn active(pack: &Dewormers, row: &ActiveRow) -> Result<(), String> {
    for (what, number) in [
        ("marks_go_by", row.marks_go_by),
        ("most_mg_per_kg", row.in_foal.most_mg_per_kg),
    ] {
        if let Some(number) = number {
            above_zero(what, number)?;
        }
    }
    let ceiling = &row.ceiling;
    for (what, times) in [
        ("refuse_above", Some(ceiling.refuse_above)),
        ("warn_above", ceiling.warn_above),
    ] {
        if times.is_some_and(|times| !times.is_finite() || times < 1.0) {
            return Err(format!(
                "{what} is under 1, which is under the label's dose"
            ));
        }
    }
    if ceiling
        .warn_above
        .is_some_and(|warn| warn > ceiling.refuse_above)
    {
        return Err("warn_above is over refuse_above".to_owned());
    }
    if let Some(salt) = &row.base_in_salt
        && !(salt.factor > 0.0 && salt.factor <= 1.0)
    {
        return Err(format!("a salt can't hold {} of base", salt.factor));
    }
    let salt = row.base_in_salt.as_ref().map(|salt| &salt.source);
    for source in [&ceiling.source, &row.in_foal.source]
        .into_iter()
        .chain(salt)
    {
        if pack.source(source).is_none() {
            return Err(format!("the file doesn't list the source `{source}`"));
        }
    }
    Ok(())
}

fn dose(row: &Dose) -> Result<(), String> {
    above_zero("mg_per_kg", row.mg_per_kg)?;
    if row.days == Some(0) {
        return Err("days is 0".to_owned());
    }
    if row.parasites.is_empty() {
        return Err("parasites is empty: say what it is for".to_owned());
    }
    Ok(())
}

fn form(row: &Form) -> Result<(), String> {
    if row.parts.is_empty() {
        return Err("parts is empty: say what is in it".to_owned());
    }
    for part in &row.parts {
        above_zero("mg_per_kg", part.mg_per_kg)?;
        match (part.percent, part.mg_per_ml) {
            (Some(percent), None) if percent > 0.0 && percent <= 100.0 => {}
            (None, Some(strength)) if strength > 0.0 && strength <= 2000.0 => {}
            _ => return Err("a part takes percent or mg_per_ml, one of them".to_owned()),
        }
    }
    for (what, one, other) in [
        ("content_g or content_ml", row.content_g, row.content_ml),
        ("mark_kg or mark_lb", row.mark_kg, row.mark_lb),
    ] {
        if one.is_some() && other.is_some() {
            return Err(format!("give {what}, not both"));
        }
        if let Some(number) = one.or(other) {
            above_zero(what, number)?;
        }
    }
    Ok(())
}

fn above_zero(what: &str, number: f64) -> Result<(), String> {
    if number.is_finite() && number > 0.0 {
        Ok(())
    } else {
        Err(format!("{what} is {number}, not above zero"))
    }
}
