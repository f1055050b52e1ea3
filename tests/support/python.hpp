// Python as Debian has it, for tests that hold us to its libraries.
#pragma once

#include <cstdio>
#include <filesystem>
#include <fstream>
#include <string>

#include <sys/wait.h>

namespace firstedge::test {

/// Runs a program in a folder, with the folder as its argument; what it printed, and "exit <status>".
inline std::string python(const std::string& program, const std::filesystem::path& folder) {
  const std::filesystem::path script = folder / "program.py";
  std::ofstream(script) << program;
  const std::string command = "cd '" + folder.string() + "' && /usr/bin/python3 -W error program.py . 2>&1";
  FILE* pipe = popen(command.c_str(), "r");
  if (pipe == nullptr) return "no shell";
  std::string output;
  for (int c = fgetc(pipe); c != EOF; c = fgetc(pipe)) output += static_cast<char>(c);
  const int status = pclose(pipe);
  std::filesystem::remove(script);
  return output + "exit " + std::to_string(WEXITSTATUS(status));
}

}  // namespace firstedge::test
