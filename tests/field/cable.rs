//! A cable: a process that carries bytes between a pseudo-terminal and a simulator's TCP port, until it is killed.
use plumeline_link::serve::{Server, ServerEvent};
use std::{
    path::{Path, PathBuf},
    process::{Child, Command, Stdio},
    time::Duration,
};
use tokio::{
    io::{AsyncReadExt, AsyncWriteExt},
    net::TcpStream,
};

/// A cable; pulled at the end of the test.
pub(crate) struct Cable {
    process: Child,
    port: PathBuf,
}
impl Cable {
    /// Plugs it in: `port` becomes a link to its pseudo-terminal, `unit` is the simulator's address as it prints it.
    pub(crate) fn plug(port: &Path, unit: &str) -> Self {
        let process = Command::new(std::env::current_exe().unwrap())
            .args(["--exact", "field::cable::helper_carries", "--ignored"])
            .env("PLUMELINE_TEST_PORT", port)
            .env("PLUMELINE_TEST_UNIT", unit.strip_prefix("tcp:").unwrap())
            .stdout(Stdio::null())
            .spawn()
            .unwrap();
        let cable = Self { process, port: port.to_owned() };
        while !port.exists() {
            std::thread::sleep(Duration::from_millis(5));
        }
        cable
    }
    /// Pulls it: the process behind the pseudo-terminal is killed.
    pub(crate) fn pull(&mut self) {
        // The system may give the pseudo-terminal's name to another one: nothing may lead there any more.
        let _ = std::fs::remove_file(&self.port);
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}
impl Drop for Cable {
    fn drop(&mut self) {
        self.pull();
    }
}

#[test]
#[ignore = "helper of others: carries bytes until it is killed"]
fn helper_carries() {
    let port = PathBuf::from(std::env::var_os("PLUMELINE_TEST_PORT").unwrap());
    let unit = std::env::var("PLUMELINE_TEST_UNIT").unwrap();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let mut port = Server::pty(Some(&port)).unwrap();
        let mut buffer = [0; 4096];
        loop {
            // The simulator serves one at a time: it may still hold the one before us.
            let mut unit = TcpStream::connect(&unit).await.unwrap();
            unit.set_nodelay(true).unwrap();
            loop {
                tokio::select! {
                    event = port.next() => if let ServerEvent::Received(bytes) = event.unwrap()
                        && unit.write_all(&bytes).await.is_err() { break },
                    n = unit.read(&mut buffer) => match n {
                        Ok(n) if n > 0 => port.send(&buffer[..n]),
                        _ => break,
                    },
                }
            }
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
    });
}
