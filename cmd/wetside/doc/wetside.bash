# bash completion for wetside
_wetside() {
    local line
    COMPREPLY=()
    while IFS= read -r line; do
        case $line in
            :files) compopt -o default ;;
            *) COMPREPLY+=("${line%%$'\t'*}") ;;
        esac
    done < <(wetside complete -- "${COMP_WORDS[@]:1:COMP_CWORD}" 2>/dev/null)
}
complete -F _wetside wetside
