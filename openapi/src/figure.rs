//! The figures over HTTP: one document in, one out; which, the figure's name says.

use serde::Serialize;
use utoipa::ToSchema;
use whorl_care::figure::{dose, due, egg_count, entry, growth, hoof, reduction, weight};

/// What a figure takes.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[serde(untagged)]
pub enum FigureInput {
    /// For `weight`.
    Weight(Box<weight::Input>),
    /// For `dose`.
    Dose(Box<dose::Input>),
    /// For `egg-count`.
    EggCount(Box<egg_count::Input>),
    /// For `reduction`.
    Reduction(Box<reduction::Input>),
    /// For `hoof`.
    Hoof(Box<hoof::Input>),
    /// For `growth`.
    Growth(Box<growth::Input>),
    /// For `due`.
    Due(Box<due::Input>),
    /// For `entry`.
    Entry(Box<entry::Input>),
}

/// What a figure answers.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[serde(untagged)]
pub enum FigureAnswer {
    /// Of `weight`.
    Weight(Box<weight::Answer>),
    /// Of `dose`.
    Dose(Box<dose::Answer>),
    /// Of `egg-count`.
    EggCount(Box<egg_count::Answer>),
    /// Of `reduction`.
    Reduction(Box<reduction::Answer>),
    /// Of `hoof`.
    Hoof(Box<hoof::Answer>),
    /// Of `growth`.
    Growth(Box<growth::Answer>),
    /// Of `due`.
    Due(Box<due::Answer>),
    /// Of `entry`.
    Entry(Box<entry::Answer>),
}
