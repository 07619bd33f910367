//! The field client `whorl`: hands the real world to the library.

use std::io::{self, IsTerminal};
use std::process::ExitCode;

use whorl_cli::home;
use whorl_cli::world::{Machine, World};

fn main() -> ExitCode {
    let variable = |name: &str| std::env::var_os(name);
    let terminal = io::stdout().is_terminal();
    let width = terminal
        .then(terminal_size::terminal_size)
        .flatten()
        .map(|(width, _)| width.0);
    let mut world = World {
        out: &mut io::stdout().lock(),
        err: &mut io::stderr().lock(),
        input: &mut io::stdin().lock(),
        secret: &|prompt| rpassword::prompt_password(prompt),
        machine: Machine {
            clock: &whorl_cli::clock::now,
            random: &|bytes| getrandom::fill(bytes).map_err(io::Error::other),
            sleep: &std::thread::sleep,
        },
        home: home::place(variable),
        rules: variable("WHORL_RULES")
            .filter(|folder| !folder.is_empty())
            .map(Into::into),
        password: variable("WHORL_PASSWORD").and_then(|text| text.into_string().ok()),
        device_name: home::machine_name(variable),
        asks: io::stdin().is_terminal() && io::stderr().is_terminal(),
        watched: io::stderr().is_terminal(),
        width: terminal.then(|| width.unwrap_or(80)),
    };
    let status = whorl_cli::run(std::env::args_os(), &mut world);
    ExitCode::from(u8::try_from(status).unwrap_or(1))
}
