use std::process::ExitCode;

fn main() -> ExitCode {
    match greyloom::cli::run(std::env::args_os()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            greyloom::cli::complain(&error);
            ExitCode::from(error.exit_code())
        }
    }
}
