//! Joins its standard input and output to a TCP connection: what an emulated board's network is given instead of a way
//! out. The address stands in a file, which may change between two connections.
use std::io::{Read, Write};
use std::net::{Shutdown, TcpStream};

fn copy(mut from: impl Read, mut to: impl Write) {
    let mut buffer = [0; 4096];
    while let Ok(many @ 1..) = from.read(&mut buffer) {
        if to.write_all(&buffer[..many]).and_then(|()| to.flush()).is_err() {
            return;
        }
    }
}

fn main() {
    let path = std::env::args().nth(1).unwrap_or_default();
    let address = std::fs::read_to_string(path).unwrap_or_default();
    // Nobody there: the end of this program closes the board's connection.
    let Ok(stream) = TcpStream::connect(address.trim()) else { return };
    let (Ok(reader), Ok(writer)) = (stream.try_clone(), stream.try_clone()) else { return };
    std::thread::spawn(move || {
        copy(std::io::stdin(), writer);
        drop(stream.shutdown(Shutdown::Both));
    });
    copy(reader, std::io::stdout());
}
