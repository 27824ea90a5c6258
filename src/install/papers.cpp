// Prints the man page or a shell's completions, made from the command line itself so that they can't go
// stale:
//   gearhark_papers man|bash|zsh
#include <fmt/format.h>

#include <cstdio>
#include <string>
#include <string_view>
#include <vector>

#include "../cli/app.hpp"

namespace {

using gearhark::cli::Action;

std::vector<const CLI::App*> commands_of(const CLI::App& app) {
  return app.get_subcommands([](const CLI::App*) { return true; });
}
std::vector<const CLI::Option*> options_of(const CLI::App& app) {
  return app.get_options([](const CLI::Option* option) { return option->nonpositional(); });
}
std::vector<const CLI::Option*> positionals_of(const CLI::App& app) {
  return app.get_options([](const CLI::Option* option) { return option->get_positional(); });
}

bool takes_value(const CLI::Option& option) { return option.get_items_expected_max() > 0; }
// "LOAD" of "LOAD:{drive,float}".
std::string value_name(const CLI::Option& option) {
  const std::string type = option.get_type_name();
  return type.substr(0, type.find(':'));
}
// "drive,float" of "LOAD:{drive,float}"; "" where any text will do.
std::string value_words(const CLI::Option& option) {
  const std::string type = option.get_type_name();
  const auto from = type.find('{'), to = type.rfind('}');
  return from == std::string::npos || to < from ? "" : type.substr(from + 1, to - from - 1);
}
bool names_a_file(std::string_view value) {
  for (const char* word : {"FILE", "RECORDING", "CASEBOOK", "LIST", ".toml", ".json", ".html"})
    if (value.find(word) != std::string_view::npos) return true;
  return false;
}

std::string all_names(const CLI::Option& option) {
  std::string out;
  for (const auto& name : option.get_snames()) out += (out.empty() ? "-" : ", -") + name;
  for (const auto& name : option.get_lnames()) out += (out.empty() ? "--" : ", --") + name;
  return out;
}

// -- man page: the macros of man(7) --

std::string roff(std::string_view text) {
  std::string out;
  for (const char c : text) {
    if (c == '\\')
      out += "\\e";
    else if (c == '-')
      out += "\\-";
    else if ((c == '.' || c == '\'') && (out.empty() || out.back() == '\n'))
      (out += "\\&") += c;
    else
      out += c;
  }
  return out;
}

std::string man_entry(const std::string& bold, const std::string& value, const std::string& description) {
  return fmt::format(".TP\n\\fB{}\\fR{}\n{}\n", roff(bold),
                     value.empty() ? "" : " \\fI" + roff(value) + "\\fR", roff(description));
}

std::string man_options(const CLI::App& app) {
  std::string out;
  for (const CLI::Option* option : positionals_of(app))
    out += man_entry(value_name(*option), "", option->get_description());
  for (const CLI::Option* option : options_of(app))
    out += man_entry(all_names(*option), takes_value(*option) ? value_name(*option) : "",
                     option->get_description());
  return out;
}

std::string man_command(const CLI::App& command, const std::string& above) {
  const std::string name = above + " " + command.get_name();
  std::string words = name;
  for (const CLI::Option* option : positionals_of(command))
    words += option->get_required() ? " " + value_name(*option) : " [" + value_name(*option) + "]";
  std::string out = fmt::format(".SS {} [OPTIONS]\n{}\n{}", roff(words), roff(command.get_description()),
                                man_options(command));
  for (const CLI::App* below : commands_of(command)) out += man_command(*below, name);
  if (!command.get_footer().empty()) out += fmt::format(".PP\n.nf\n{}\n.fi\n", roff(command.get_footer()));
  return out;
}

std::string man_page(const CLI::App& app) {
  std::string out = fmt::format(
      ".TH GEARHARK 1 \"\" \"gearhark {}\" \"User commands\"\n.SH NAME\n"
      "gearhark \\- name the rotating part of an old car that makes the noise\n"
      ".SH SYNOPSIS\n.B gearhark\n\\fICOMMAND\\fR [\\fIOPTIONS\\fR]\n.SH DESCRIPTION\n{}\n.SH OPTIONS\n{}.SH "
      "COMMANDS\n",
      GEARHARK_VERSION, roff(app.get_description()), man_options(app));
  for (const CLI::App* command : commands_of(app)) out += man_command(*command, "gearhark");
  return out + fmt::format(
                   ".SH EXIT STATUS\n{}\n.SH FILES\n.TP\n.I /usr/share/gearhark/models\n"
                   "Invented cars to copy from; a name such as heron_rear_transaxle stands for one of them "
                   "wherever a car file is asked for on the command line.\n"
                   ".TP\n.I ~/.local/share/gearhark/casebook.sqlite\nThe casebook, unless named otherwise.\n"
                   ".SH CAVEATS\nIt hears, it does not inspect, and never says that a part is safe. Local "
                   "law and the "
                   "judgement of a qualified workshop come first.\n",
                   roff(app.get_footer()));
}

// -- bash --

std::string spaced(std::string words) {
  for (char& c : words)
    if (c == ',') c = ' ';
  return words;
}

// What may follow an option that takes a value; words with a space in them are left out.
std::string bash_values(const CLI::Option& option) {
  const std::string words = value_words(option);
  if (!words.empty()) return fmt::format("words=\"{}\"", spaced(words));
  return names_a_file(value_name(option)) ? "files=yes" : "return";
}

void bash_command(const CLI::App& app, const std::string& path, std::string& paths, std::string& values,
                  std::string& words) {
  std::string options, below;
  for (const CLI::Option* option : options_of(app)) {
    options += " " + spaced(all_names(*option));
    if (!takes_value(*option)) continue;
    for (const auto& name : option->get_lnames())
      values += fmt::format("    \"{}:--{}\") {} ;;\n", path, name, bash_values(*option));
  }
  for (const CLI::App* command : commands_of(app)) {
    below += " " + command->get_name();
    paths += fmt::format("{}\"{}:{}\"", paths.empty() ? "" : "|", path, command->get_name());
    bash_command(*command, path.empty() ? command->get_name() : path + " " + command->get_name(), paths,
                 values, words);
  }
  bool files = false;
  for (const CLI::Option* option : positionals_of(app)) files = files || names_a_file(value_name(*option));
  words += fmt::format("      \"{}\") options=\"{}\" words=\"{}\" files={} ;;\n", path, options, below,
                       files ? "yes" : "no");
}

std::string bash_completion(const CLI::App& app) {
  std::string paths, values, words;
  bash_command(app, "", paths, values, words);
  return fmt::format(R"(# Completions of gearhark for bash; made from its command line.
_gearhark() {{
  local current=${{COMP_WORDS[COMP_CWORD]}} before=${{COMP_WORDS[COMP_CWORD-1]}} command="" options="" words="" files=no i
  for ((i = 1; i < COMP_CWORD; ++i)); do
    case "$command:${{COMP_WORDS[i]}}" in
      {}) command="${{command:+$command }}${{COMP_WORDS[i]}}" ;;
    esac
  done
  COMPREPLY=()
  case "$command:$before" in
{}    *) case "$command" in
{}    esac ;;
  esac
  [[ $current == -* ]] && words=$options && files=no
  COMPREPLY=($(compgen -W "$words" -- "$current"))
  if [[ $files == yes ]]; then
    compopt -o filenames 2>/dev/null
    COMPREPLY+=($(compgen -f -- "$current"))
  fi
}}
complete -F _gearhark gearhark
)",
                     paths, values, words);
}

// -- zsh --

std::string zsh_quoted(std::string_view text) {
  std::string out;
  for (const char c : text) {
    if (c == '[' || c == ']' || c == ':' || c == '\\') out += '\\';
    out += c == '\'' ? std::string("'\\''") : std::string(1, c);
  }
  return out;
}

std::string zsh_action(const CLI::Option& option) {
  const std::string words = value_words(option);
  if (!words.empty()) return "(" + spaced(words) + ")";
  return names_a_file(value_name(option)) ? "_files" : " ";
}

std::string zsh_arguments(const CLI::App& app) {
  std::string out = "_arguments";
  for (const CLI::Option* option : options_of(app))
    for (const auto& name : option->get_lnames())
      out += fmt::format(" '--{}[{}]{}'", name, zsh_quoted(option->get_description()),
                         takes_value(*option)
                             ? fmt::format(":{}:{}", zsh_quoted(value_name(*option)), zsh_action(*option))
                             : "");
  if (!positionals_of(app).empty()) out += " '*:file:_files'";
  return out;
}

std::string zsh_described(const CLI::App& app) {
  std::string out = "_values command";
  for (const CLI::App* command : commands_of(app))
    out += fmt::format(" '{}[{}]'", command->get_name(), zsh_quoted(command->get_description()));
  return out;
}

std::string zsh_completion(const CLI::App& app) {
  std::string cases;
  for (const CLI::App* command : commands_of(app)) {
    if (commands_of(*command).empty()) {
      cases += fmt::format("  {}) {} ;;\n", command->get_name(), zsh_arguments(*command));
      continue;
    }
    std::string below;
    for (const CLI::App* step : commands_of(*command))
      below += fmt::format("    {}) {} ;;\n", step->get_name(), zsh_arguments(*step));
    cases += fmt::format("  {}) if ((CURRENT == 3)); then {}; else case $words[3] in\n{}    esac; fi ;;\n",
                         command->get_name(), zsh_described(*command), below);
  }
  return fmt::format(
      "#compdef gearhark\n# Completions of gearhark for zsh; made from its command line.\n"
      "if ((CURRENT == 2)); then {}; return; fi\ncase $words[2] in\n{}esac\n",
      zsh_described(app), cases);
}

}  // namespace

int main(int count, char** words) {
  CLI::App app;
  Action unused;
  gearhark::cli::set_up(app, unused);
  const std::string_view kind = count == 2 ? words[1] : "";
  const std::string text = kind == "man"    ? man_page(app)
                           : kind == "bash" ? bash_completion(app)
                           : kind == "zsh"  ? zsh_completion(app)
                                            : "";
  if (text.empty()) return 2;
  return std::fwrite(text.data(), 1, text.size(), stdout) == text.size() && std::fflush(stdout) == 0 ? 0 : 1;
}
