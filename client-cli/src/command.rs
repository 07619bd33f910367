//! The commands, one file each: what a person types, and what is done.

pub mod status;

use clap::{Parser, Subcommand};

use crate::desk::Desk;
use crate::failure::Failure;

/// Keep horses' records where there is no signal, and bring them together where there is.
#[derive(Debug, Parser)]
#[command(name = "whorl", version, about, disable_help_subcommand = false)]
#[command(
    after_help = "Exit status: 0 done, 1 this device failed, 2 bad input, 3 refused by the server, \
    4 no connection (work is kept), 5 the record doesn't verify.\n\
    The record is kept in WHORL_HOME, else in the place where your system keeps programs' data."
)]
pub struct Cli {
    /// Answer with one JSON document instead of tables
    #[arg(long, global = true)]
    pub json: bool,
    /// What to do
    #[command(subcommand)]
    pub command: Command,
}

macro_rules! commands {
    ($($(#[$attribute:meta])* $name:ident: $args:ty,)*) => {
        /// Everything that can be done.
        #[derive(Debug, Subcommand)]
        pub enum Command {
            $($(#[$attribute])* $name($args),)*
        }

        impl Command {
            /// Does it.
            ///
            /// # Errors
            ///
            /// [`Failure`] with what is wrong and what to do.
            pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
                match self { $(Self::$name(args) => args.run(desk),)* }
            }
        }
    };
}

commands! {
    /// Show who you are here, what waits for the server, and when all was last in step
    Status: status::Args,
}
