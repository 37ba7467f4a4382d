//! The `plumeline` command.
fn main() -> std::process::ExitCode {
    plumeline::main()
}
