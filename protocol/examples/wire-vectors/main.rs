//! Prints the test vectors of the wire protocol; `scripts/wire-vectors` puts them into `protocol/vectors.json`.

mod vectors;

fn main() {
    print!("{}", vectors::render());
}
