//! The server's command line.

use std::io::Write;
use std::net::TcpListener;
use std::process::ExitCode;

use clap::parser::ValueSource;
use clap::{ArgMatches, CommandFactory, FromArgMatches, Parser, Subcommand};
use whorl_http::clock::Clock;
use whorl_http::config::{Config, Flags};
use whorl_http::state::State;
use whorl_http::{description, keys, logging, operate, serve};

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
    /// Make the file with the server's keys, if there is none
    Keys,
    /// Mark an account as the operator's
    Operator {
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
        Command::Keys => {
            keys::Keys::load(&config.keys, true)?;
            say(&format!("{} holds the keys", config.keys.display()))
        }
        Command::Operator { email } => {
            let name = operate::make_operator(&State::open(config, Clock::system())?, &email)?;
            say(&format!("{name} runs this server now"))
        }
        Command::Unlock { email } => {
            operate::unlock(&State::open(config, Clock::system())?, &email)?;
            say(&format!("{email} may sign in again"))
        }
        Command::Serve => {
            logging::start(&config.log)?;
            let listener = TcpListener::bind(config.listen)
                .map_err(|error| format!("can't listen on {}: {error}", config.listen))?;
            let state = State::open(config, Clock::system())?;
            serve::run_until_asked(state, listener)?;
            Ok(())
        }
    }
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
