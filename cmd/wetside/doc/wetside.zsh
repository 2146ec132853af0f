#compdef wetside
# zsh completion for wetside
_wetside() {
    local line
    local -a found
    for line in "${(@f)$(wetside complete -- "${(@)words[2,CURRENT]}" 2>/dev/null)}"; do
        if [[ $line == :files ]]; then
            _files
            return
        fi
        found+=("${${line%%$'\t'*}//:/\\:}:${line#*$'\t'}")
    done
    _describe wetside found
}
if [[ $funcstack[1] == _wetside ]]; then
    _wetside "$@"
else
    compdef _wetside wetside
fi
