# Shared by the commands beside it: from a machine with Python >= 3.11 to an installed .venv.
# To be sourced.

# Relative paths are the caller's, and the commands go elsewhere.
absolute() {
    if [[ $1 == /* ]]; then printf '%s\n' "$1"; else printf '%s\n' "$PWD/$1"; fi
}

find_python() {
    local name
    for name in ${PYTHON:-} python3 python3.14 python3.13 python3.12 python3.11 python; do
        if "$name" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            printf '%s\n' "$name"
            return
        fi
    done
    echo "No Python 3.11 or newer was found; install one, or name it with PYTHON=." >&2
    return 1
}

bootstrap() {
    local lock=deploy/requirements.lock installed=.venv/installed.lock python
    if [[ -x .venv/bin/python && -f $installed && "$(<"$lock")" == "$(<"$installed")" ]]; then
        return
    fi
    # The database runs as a user without rights, who must be able to read its programs.
    umask 022
    echo "Installing what deploy/requirements.lock names into .venv …" >&2
    if ! .venv/bin/python -c '' 2>/dev/null; then
        python=$(find_python)
        if ! "$python" -m venv --clear .venv >&2; then
            echo "Python has no venv module here; many systems package it as python3-venv." >&2
            return 1
        fi
    fi
    .venv/bin/python -m pip install --quiet --no-compile --disable-pip-version-check --no-input \
        --require-hashes --only-binary :all: -r "$lock" >&2
    cp "$lock" "$installed"
}

# The tests of the pages look at them with Chromium, installed where that is permitted.
# The one without a window is enough and quicker; any other will do.
need_chromium() {
    local name
    if command -v chromium-headless-shell >/dev/null; then
        return
    fi
    if [[ $EUID == 0 ]] && command -v apt-get >/dev/null; then
        echo "Installing Chromium for the tests of the pages …" >&2
        if DEBIAN_FRONTEND=noninteractive timeout 60 apt-get install -y -qq \
            --no-install-recommends chromium-headless-shell fonts-dejavu-core >/dev/null 2>&1; then
            return
        fi
    fi
    for name in chromium chromium-browser google-chrome; do
        if command -v "$name" >/dev/null; then
            return
        fi
    done
    echo "The tests of the pages need Chromium: install Debian's package chromium-headless-shell" \
        "(apt-get update may be wanted first)." >&2
    return 1
}
