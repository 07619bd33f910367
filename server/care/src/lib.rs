//! The care engine of Whorl: what a horse's events mean, and what follows from them.
//!
//! Pure by design: no clock, no randomness, no disk, no network. The caller passes `on`, so the dose that a barn
//! hand sees offline is the dose that the server computes.

pub mod alarm;
pub mod band;
pub mod calendar;
pub mod care_plan;
pub mod code;
pub mod contacts;
pub mod described;
pub mod details;
pub mod disease;
pub mod effective;
pub mod efficacy;
pub mod fault;
pub mod figure;
pub mod horse;
pub mod ids;
pub mod kind;
pub mod limits;
pub mod microchip;
pub mod notice;
pub mod objects;
pub mod policy;
pub mod profile;
pub mod quantile;
pub mod reaction;
pub mod reading;
pub mod recall;
pub mod record;
pub mod rules;
pub mod sentence;
pub mod unit;
pub mod visits;
pub mod when;
