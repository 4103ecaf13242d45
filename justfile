# The habits. `just` lists them; `just ci` is what a change must pass.

_list:
    @just --list --unsorted

# all that a change must pass
ci:
    .ci/run

# formatting, lints, documentation of the code
lint:
    cargo fmt --all --check
    cargo clippy --release --all-targets -- -D warnings
    RUSTDOCFLAGS="-D warnings" cargo doc --release --no-deps

# one test file, e.g. `just test path`
test NAME *ARGS:
    cargo test --release --test {{NAME}} -- {{ARGS}}

# one shipped case, its page and a look at it, e.g. `just demo tern180-core`
demo CASE="tern180-core":
    cargo run --release -- run meshes/{{CASE}}.toml --force
    cargo run --release -- report results/{{CASE}}.h5 -o results/{{CASE}}.html

# a bench, e.g. `just bench step`
bench NAME *ARGS:
    cargo bench --bench {{NAME}} -- {{ARGS}}

# coverage-guided fuzzing of case, sweep and profile texts
fuzz SECONDS="60":
    tests/fuzz/run {{SECONDS}}

# docs/trust.md from the checks as they are now
trust:
    HOLDPOINT_WRITE_TRUST=1 cargo test --release --test outside --test trust_page

# licences, sources, crates in two versions, advisories (needs cargo-deny)
deny:
    cargo deny check

# the book of docs/ in target/book (needs mdbook)
book:
    mdbook build docs
