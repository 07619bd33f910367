//! The server's command line.

use std::io::Write;
use std::net::TcpListener;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::parser::ValueSource;
use clap::{ArgMatches, CommandFactory, FromArgMatches, Parser, Subcommand};
use indicatif::{ProgressBar, ProgressStyle};
use whorl_care::sentence::counted;
use whorl_http::audit::Audit;
use whorl_http::clock::Clock;
use whorl_http::config::{Config, Flags};
use whorl_http::keys::{Keys, Replaced};
use whorl_http::state::State;
use whorl_http::upkeep::{self, Step};
use whorl_http::{description, logging, operate, serve};

/// The server of Whorl: a shared, verifiable health record for horses
#[derive(Debug, Parser)]
#[command(name = "whorl-server", version)]
struct Cli {
    #[command(flatten)]
    flags: Flags,
    #[command(subcommand)]
    command: Option<Command>,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Serve (this is also done without a command)
    Serve,
    /// Print the settings in force and where each comes from
    Config,
    /// Print the description of every operation (OpenAPI 3.1)
    Openapi,
    /// Make the file with the server's keys, if there is none, or replace one of them; stop every server that uses it first
    Keys {
        /// The key to replace
        #[arg(long, value_enum)]
        replace: Option<Replaced>,
    },
    /// Check the whole record: every chain, signature, content and file
    Verify,
    /// Write a backup beside the running server: one SQLite file with the whole record, checked
    Backup {
        /// The file to write; there must be none yet
        #[arg(long)]
        to: PathBuf,
    },
    /// Bring a backup back into an empty database, as a new epoch; devices then send what came after it once more
    Restore {
        /// The file that `backup` wrote
        #[arg(long)]
        from: PathBuf,
    },
    /// Move the record to another, empty database and check it there; stop the server first, and serve the new one afterwards
    Move {
        /// The database that holds the record: `sqlite://PATH` or `postgres://…`
        #[arg(long)]
        from: String,
        /// The empty database that shall hold it
        #[arg(long)]
        to: String,
    },
    /// Mark an account as the operator's
    Operator {
        /// The account's e-mail address
        email: String,
    },
    /// Close an account: its sessions end at once and nobody signs in to it; what its person recorded stays
    Close {
        /// The account's e-mail address
        email: String,
    },
    /// Open a closed account again
    Reopen {
        /// The account's e-mail address
        email: String,
    },
    /// Make a code by which somebody who forgot their password sets another one: good once, for an hour
    ResetPassword {
        /// The account's e-mail address
        email: String,
    },
    /// Let an account take passwords again after too many wrong ones
    Unlock {
        /// The account's e-mail address
        email: String,
    },
}

fn main() -> ExitCode {
    let matches = Cli::command().get_matches();
    let cli = match Cli::from_arg_matches(&matches) {
        Ok(cli) => cli,
        Err(error) => error.exit(),
    };
    match run(cli, &matches) {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            // Standard error is the last place to say it.
            drop(writeln!(std::io::stderr(), "whorl-server: {why}"));
            ExitCode::FAILURE
        }
    }
}

type Failure = Box<dyn std::error::Error>;

fn run(cli: Cli, matches: &ArgMatches) -> Result<(), Failure> {
    let command = cli.command.unwrap_or(Command::Serve);
    if matches!(command, Command::Openapi) {
        return say(&serde_json::to_string_pretty(&description::openapi())?);
    }
    let config = cli.flags.check()?;
    match command {
        Command::Openapi => Ok(()),
        Command::Config => say(&settings(&config, matches)),
        Command::Keys { replace: None } => {
            Keys::load(&config.keys, true)?;
            say(&format!("{} holds the keys", config.keys.display()))
        }
        Command::Keys {
            replace: Some(which),
        } => {
            let now = Clock::system().now();
            let keys = Keys::replace(&config.keys, which, &config.name, now)?;
            say(&match which {
                Replaced::Heads => format!(
                    "The server signs with {} from its next start. The key before it vouches for it, so devices follow by \
                     themselves. If that one was stolen, they must not: tell people the new key, and let them run `whorl \
                     join --new-key`. Keep a copy of {} apart from the database's backups",
                    keys.heads.public(),
                    config.keys.display()
                ),
                Replaced::Tokens => "Access tokens are signed with a new key from the server's next start; those of the old one are \
                     taken until they expire"
                    .to_owned(),
            })
        }
        Command::Verify => {
            let done = upkeep::verify(config.database_url.expose(), &mut progress())?;
            say(&checked("The record verifies", &done))
        }
        Command::Backup { to } => {
            let done = upkeep::back_up(config.database_url.expose(), &to, &mut progress())?;
            let what = format!(
                "{} holds the record, without the server's keys",
                to.display()
            );
            say(&checked(&what, &done))
        }
        Command::Restore { from } => {
            let (url, clock) = (config.database_url.expose(), Clock::system());
            let done = upkeep::restore(&from, url, &clock, &mut progress())?;
            say(&checked("The record is back, as a new epoch", &done))
        }
        Command::Move { from, to } => {
            let done = upkeep::move_record(&from, &to, &mut progress())?;
            let what = "The record is moved; don't serve the old database any more";
            say(&checked(what, &done))
        }
        Command::Operator { email } => {
            let name = operate::make_operator(&State::open(config, Clock::system())?, &email)?;
            say(&format!("{name} runs this server now"))
        }
        Command::Close { email } => {
            let _logging = logging::start(&config.log, None)?;
            let name = operate::close(&State::open(config, Clock::system())?, &email)?;
            say(&format!("{name}'s account is closed; `reopen` undoes it"))
        }
        Command::Reopen { email } => {
            let _logging = logging::start(&config.log, None)?;
            let name = operate::reopen(&State::open(config, Clock::system())?, &email)?;
            say(&format!("{name} may sign in again"))
        }
        Command::Unlock { email } => {
            operate::unlock(&State::open(config, Clock::system())?, &email)?;
            say(&format!("{email} may sign in again"))
        }
        Command::ResetPassword { email } => {
            let _logging = logging::start(&config.log, None)?;
            let state = State::open(config, Clock::system())?;
            let (name, code) = operate::offer_reset(&state, &email)?;
            let page = match &state.config.public_url {
                Some(url) => format!("at {}/reset", url.as_str()),
                None => "on the page /reset".to_owned(),
            };
            say(&format!(
                "{code}\nWhoever has this code can set {name}'s password within an hour. Tell it to {name} yourself, once you are sure who \
                 asks: with it and {email} they set a new password {page}. All their sessions end then"
            ))
        }
        Command::Serve => {
            let _logging = logging::start(&config.log, config.traces.as_ref())?;
            let listener = TcpListener::bind(config.listen)
                .map_err(|error| format!("can't listen on {}: {error}", config.listen))?;
            let state = State::open(config, Clock::system())?;
            serve::run_until_asked(state, listener)?;
            Ok(())
        }
    }
}

/// Shows how far a long job is, if somebody watches.
fn progress() -> impl FnMut(Step<'_>) {
    let bar = ProgressBar::new(0);
    if let Ok(style) = ProgressStyle::with_template("{msg:<24} {bar:30} {human_pos}/{human_len}") {
        bar.set_style(style);
    }
    move |step| match step {
        Step::Carrying(step) => {
            bar.set_length(step.of);
            bar.set_message(step.table.to_owned());
            bar.set_position(step.done);
        }
        Step::Checking(events) => {
            bar.set_message("checking entries");
            bar.set_length(bar.length().unwrap_or(0).max(events));
            bar.set_position(events);
        }
    }
}

/// What was checked, in a line.
fn checked(what: &str, done: &Audit) -> String {
    format!(
        "{what}. Checked: {}, {} ({} of them erased), {}.",
        counted(done.horses, "horse", "horses"),
        counted(done.events, "entry", "entries"),
        done.erased,
        counted(done.files, "file", "files")
    )
}

fn say(text: &str) -> Result<(), Failure> {
    let mut out = std::io::stdout().lock();
    writeln!(out, "{}", text.trim_end())?;
    Ok(())
}

/// A line for each setting: its value and where it comes from.
fn settings(config: &Config, matches: &ArgMatches) -> String {
    let source = |name: &str| match matches.value_source(name) {
        Some(ValueSource::CommandLine) => "flag",
        Some(ValueSource::EnvVariable) => "variable",
        _ => "default",
    };
    let lines = config
        .shown()
        .into_iter()
        .map(|(name, value)| format!("{name:<17} {value:<50} {}\n", source(name)));
    lines.collect()
}
