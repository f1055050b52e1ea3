// Runs a program as a person does: words in; exit status, standard output and standard error out.
#pragma once

#include "support/temporary_folder.hpp"

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>
#include <vector>

#include <sys/wait.h>
#include <unistd.h>

namespace firstedge::test {

struct Outcome {
  int status = -1;  ///< exit code, or 128 + signal
  std::string out, err;
};

inline std::string text_of(const std::filesystem::path& file) {
  std::ifstream stream(file, std::ios::binary);
  std::stringstream text;
  text << stream.rdbuf();
  return text.str();
}

/// The words are passed on as they are: no shell reads them.
inline Outcome run_program(const std::vector<std::string>& words) {
  const TemporaryFolder scratch;
  const std::string out = (scratch / "out").string(), err = (scratch / "err").string();
  const pid_t child = fork();
  if (child == 0) {
    if (freopen("/dev/null", "r", stdin) == nullptr || freopen(out.c_str(), "w", stdout) == nullptr ||
        freopen(err.c_str(), "w", stderr) == nullptr) {
      _exit(126);
    }
    std::vector<char*> arguments;
    for (const std::string& word : words) arguments.push_back(const_cast<char*>(word.c_str()));
    arguments.push_back(nullptr);
    execvp(arguments[0], arguments.data());
    _exit(127);
  }
  int state = 0;
  waitpid(child, &state, 0);
  return {.status = WIFEXITED(state) ? WEXITSTATUS(state) : 128 + WTERMSIG(state),
          .out = text_of(out),
          .err = text_of(err)};
}

/// The app firstedge-<verb> of this build.
inline std::string app(const std::string& verb) {
  return std::string(FIRSTEDGE_BINARY_DIR) + "/bin/firstedge-" + verb;
}

}  // namespace firstedge::test
