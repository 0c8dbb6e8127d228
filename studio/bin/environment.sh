# shellcheck shell=bash
# What `run`, `test` and `bench` share: a Python, its virtual environment, Debian packages, and a throwaway
# PostgreSQL. Sourced, never run.
#
# Everything is found from the place of this file, so the scripts work from any directory and from a path
# with spaces. The environment's programs are always started through its Python: a script installed by pip
# carries the absolute path it was installed under, and would break when the folder is moved.

root=$(cd "$(dirname "${BASH_SOURCE[0]}")/../.." && pwd -P)
venv=$root/var/venv
python=$venv/bin/python
paper_packages=(libpangoft2-1.0-0 libharfbuzz-subset0 fonts-dejavu-core
    fonts-wqy-microhei) # the last for names in Chinese, Japanese and Korean: 5 MB, where others take 90

# say SENTENCE...: each on a line of its own.
say() { printf '%s\n' "$@" >&2; }

stop() {
    say "$@"
    exit 1
}

is_root() { [ "$(id -u)" -eq 0 ]; }

# The packages among the arguments that dpkg does not know as installed, one a line.
missing_packages() {
    local package
    for package in "$@"; do
        dpkg-query --show --showformat='${db:Status-Status}\n' "$package" 2>/dev/null | grep -qx installed ||
            printf '%s\n' "$package"
    done
}

apt_line() { printf 'apt-get update && apt-get install --yes --no-install-recommends %s' "$*"; }

# Installs the packages when this is a Debian and we are root; false when that is not so or did not work.
install_packages() {
    is_root && command -v apt-get >/dev/null || return 1
    say "Installing $*"
    local log
    log=$(mktemp)
    if { apt-get update && DEBIAN_FRONTEND=noninteractive apt-get install --yes --no-install-recommends "$@"; } \
        >"$log" 2>&1 </dev/null; then
        rm -f "$log"
        return 0
    fi
    tail -n 20 "$log" >&2
    rm -f "$log"
    return 1
}

# The first Python of 3.11 or later, $PYTHON before all others.
base_python() {
    local candidate
    for candidate in ${PYTHON:+"$PYTHON"} python3 python3.11 python3.12 python3.13 python3.14; do
        if "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            command -v "$candidate"
            return 0
        fi
    done
    stop "Python 3.11 or later is needed and was not found. On Debian, as root:" \
        "  $(apt_line python3 python3-venv)" \
        "If it is installed elsewhere, name it: PYTHON=/path/to/python3.11 bash $0"
}

# Debian ships Python without the part that makes a virtual environment.
require_venv_module() {
    local base=$1 package
    "$base" -c 'import ensurepip, venv' 2>/dev/null && return 0
    package=$("$base" -c 'import sys; print("python%d.%d-venv" % sys.version_info[:2])')
    if install_packages "$package" && "$base" -c 'import ensurepip, venv' 2>/dev/null; then
        return 0
    fi
    stop "$base cannot make a virtual environment. Install the missing part as root, then start again:" \
        "  $(apt_line "$package")"
}

# ensure_venv NAME REQUIREMENTS: makes the environment when there is none that works, and installs when the
# requirements or the Python changed since the last time. The stamp of their hash is written last, so an
# installation that was cut short is done again.
ensure_venv() (
    local name=$1 requirements=$2 base stamp wanted
    mkdir -p "$root/var"
    if command -v flock >/dev/null; then
        exec 9>"$root/var/venv.lock"
        flock 9
    fi
    if ! "$python" -m pip --version >/dev/null 2>&1; then
        base=$(base_python) || exit 1
        require_venv_module "$base"
        say "Making the virtual environment in var/venv"
        "$base" -m venv --clear "$venv" || stop "The virtual environment could not be made in $venv."
    fi
    stamp=$venv/.installed-$name
    wanted=$({ cat "$root/requirements.txt" "$requirements" && "$python" --version; } |
        "$python" -c 'import hashlib, sys; print(hashlib.sha256(sys.stdin.buffer.read()).hexdigest())')
    if [ "$(cat "$stamp" 2>/dev/null)" != "$wanted" ]; then
        say "Installing ${requirements#"$root"/}"
        "$python" -m pip install --quiet --disable-pip-version-check --requirement "$requirements" ||
            stop "The packages of ${requirements#"$root"/} could not be installed; see above."
        printf '%s\n' "$wanted" >"$stamp"
    fi
)

# The tickets and labels are drawn with Debian's text-shaping libraries; everything else works without them.
ensure_paper_libraries() {
    local missing
    read -ra missing <<<"$(missing_packages "${paper_packages[@]}" | tr '\n' ' ')"
    [ "${#missing[@]}" -eq 0 ] && return 0
    install_packages "${missing[@]}" && return 0
    say "Tickets and labels need libraries that are missing here; the rest works without. As root:" \
        "  $(apt_line "${missing[@]}")"
}

# A SQLite file as a database URL, whatever characters its path has.
sqlite_url() {
    "$python" -c 'import sys, urllib.parse; print("sqlite:///" + urllib.parse.quote(sys.argv[1]))' "$1"
}

cluster_started=no

# PostgreSQL refuses to run as root; it then runs as its own user, or as nobody.
as_cluster_owner() {
    if is_root; then
        (cd / && runuser --user "$cluster_owner" -- "$@")
    else
        "$@"
    fi
}

# The folder of the newest PostgreSQL server: Debian keeps its programs out of the search path.
postgresql_binaries() {
    local folder
    folder=$(find /usr/lib/postgresql -mindepth 3 -maxdepth 3 -name initdb 2>/dev/null | sort -V | tail -n 1)
    [ -n "$folder" ] || folder=$(command -v initdb) || return 1
    dirname "$folder"
}

# start_postgresql FOLDER: a throwaway cluster there, its address in cluster_url. It listens on nothing but a
# socket in that folder, so it needs no port and no password and nobody else on the machine can reach it.
start_postgresql() {
    cluster=$1
    binaries=$(postgresql_binaries)
    cluster_owner=$(id -un)
    if is_root; then
        cluster_owner=nobody
        id postgres >/dev/null 2>&1 && cluster_owner=postgres
    fi
    mkdir -m 700 "$cluster/cluster" "$cluster/socket"
    touch "$cluster/postgresql.log"
    is_root && chown "$cluster_owner" "$cluster/cluster" "$cluster/socket" "$cluster/postgresql.log"
    as_cluster_owner "$binaries/initdb" --pgdata "$cluster/cluster" --username stillroom --auth trust \
        --encoding UTF8 --locale C --no-sync >"$cluster/initdb.log" 2>&1 || {
        cat "$cluster/initdb.log" >&2
        stop "The throwaway PostgreSQL could not be made."
    }
    cluster_started=yes
    as_cluster_owner "$binaries/pg_ctl" start --silent --wait --pgdata "$cluster/cluster" \
        --log "$cluster/postgresql.log" \
        --options "-c listen_addresses='' -c unix_socket_directories='$cluster/socket' -c max_connections=200" \
        >/dev/null || {
        cat "$cluster/postgresql.log" >&2
        stop "The throwaway PostgreSQL did not start."
    }
    cluster_url=postgresql://stillroom@${cluster//\//%2F}%2Fsocket/postgres
}

stop_postgresql() {
    [ "$cluster_started" = yes ] || return 0
    as_cluster_owner "$binaries/pg_ctl" stop --silent --mode immediate --pgdata "$cluster/cluster" >/dev/null 2>&1
    cluster_started=no
}
