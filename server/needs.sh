# Sourced by server/start and tests/run: finds out what the build and the private PostgreSQL need, and installs what is
# missing by apt. Writes to stderr only. Never creates or starts a database cluster of the system's own, never removes
# anything. Expects $root, the top of the repository.

say() {
    printf 'strandline: %s\n' "$*" >&2
}

# Rust comes from rustup: Debian's own is older than the sources.
need_rust() {
    local wanted have
    if ! command -v cargo >/dev/null 2>&1; then
        PATH="${CARGO_HOME:-${HOME:-/nonexistent}/.cargo}/bin:$PATH"
        export PATH
    fi
    wanted=$(sed -n 's/^rust-version = "\(.*\)"$/\1/p' "$root/Cargo.toml")
    if ! command -v cargo >/dev/null 2>&1; then
        say "Rust is not installed, PATH and ~/.cargo/bin: install Rust $wanted or newer with rustup (https://rustup.rs) and start again"
        exit 4
    fi
    if ! have=$(cargo --version 2>/dev/null); then
        say "cargo does not run, $(command -v cargo): run \`rustup default stable\` and start again"
        exit 4
    fi
    have=${have#cargo }
    have=${have%% *}
    if [ "$(printf '%s\n%s\n' "$wanted" "$have" | sort -V | head -n 1)" != "$wanted" ]; then
        say "Rust $have is too old, $(command -v cargo): install $wanted or newer, \`rustup update stable\`, and start again"
        exit 4
    fi
}

has_compiler() {
    command -v cc >/dev/null 2>&1 && printf '#include <stdio.h>\n' | cc -E -x c - >/dev/null 2>&1
}

has_libpq() {
    local dir
    [ -n "${PQ_LIB_DIR:-}" ] && return
    dir=$(pg_config --libdir 2>/dev/null) && [ -e "$dir/libpq.so" ]
}

# The places where the program itself looks, in server/src/private_postgres/programs.rs.
has_postgres() {
    local dir
    [ -n "${PG_BIN:-}" ] && return
    for dir in "$(pg_config --bindir 2>/dev/null)" /usr/lib/postgresql/*/bin; do
        [ -x "$dir/postgres" ] && [ -x "$dir/initdb" ] && return
    done
    command -v postgres >/dev/null 2>&1 && command -v initdb >/dev/null 2>&1
}

has_certificates() {
    [ -n "${SSL_CERT_FILE:-}${CARGO_HTTP_CAINFO:-}" ] && return
    [ -s /etc/ssl/certs/ca-certificates.crt ] || [ -s /etc/pki/tls/certs/ca-bundle.crt ] || [ -s /etc/ssl/cert.pem ]
}

# Run as root with the packages as arguments. Debian's postgresql creates and starts a cluster when it is installed,
# unless its configuration says no; that word is added for the time of the installation only.
install_script='
set -eu
export DEBIAN_FRONTEND=noninteractive
get() { apt-get -q -y -o DPkg::Lock::Timeout=120 install --no-install-recommends "$@"; }
apt-get -q update || echo "strandline: some package lists are out of date, apt: going on with what is known" >&2
case " $* " in
*" postgresql "*)
    get postgresql-common
    conf=/etc/postgresql-common/createcluster.conf
    cp -p "$conf" "$conf.before"
    trap "mv -f $conf.before $conf" EXIT
    trap "exit 1" HUP INT TERM
    printf "\ncreate_main_cluster = false\n" >>"$conf"
    ;;
esac
get "$@"
'

has_venv() {
    python3 -c 'import ensurepip, venv' >/dev/null 2>&1
}

# need_packages [postgresql] [python3-venv]: the compiler and libpq always, the server programs and Python's if asked for.
need_packages() {
    local packages=() line
    has_compiler || packages+=(gcc libc6-dev)
    has_libpq || packages+=(libpq-dev)
    has_certificates || packages+=(ca-certificates)
    case " $* " in *" postgresql "*) has_postgres || packages+=(postgresql) ;; esac
    case " $* " in *" python3-venv "*) has_venv || packages+=(python3-venv) ;; esac
    [ ${#packages[@]} -eq 0 ] && return

    if ! command -v apt-get >/dev/null 2>&1; then
        say "${packages[*]} (by their Debian names) are missing, and there is no apt-get here: install what they are called on this system and start again"
        exit 4
    fi
    if [ "$(id -u)" -eq 0 ]; then
        say "installing ${packages[*]} with apt-get"
        sh -c "$install_script" needs "${packages[@]}" </dev/null >&2 || installing_failed
    elif command -v sudo >/dev/null 2>&1 && sudo -n true 2>/dev/null; then
        say "installing ${packages[*]} with apt-get, by sudo"
        sudo -n sh -c "$install_script" needs "${packages[@]}" </dev/null >&2 || installing_failed
    else
        line="apt-get update && apt-get install -y --no-install-recommends ${packages[*]}"
        case " ${packages[*]} " in
        *" postgresql "*)
            line="apt-get update && apt-get install -y postgresql-common && echo 'create_main_cluster = false' >>/etc/postgresql-common/createcluster.conf && apt-get install -y --no-install-recommends ${packages[*]}"
            ;;
        esac
        say "cannot install ${packages[*]}, not root and no sudo without a password: run as root \`$line\` and start again"
        exit 4
    fi
}

installing_failed() {
    say "the packages were not installed, apt-get: see its message above, correct it and start again"
    exit 4
}
