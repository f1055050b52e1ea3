// Runs SciPy, the reference library of this room, beside the code under test: numbers in, numbers out.
#pragma once

#include <array>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <limits>
#include <sstream>
#include <stdexcept>
#include <string>
#include <vector>

#include <unistd.h>

namespace firstedge::test {

/// The numbers that a Python script prints, one a line. The script finds NumPy as np, scipy.signal as signal
/// and the input as the array x. Debian's interpreter is named in full: it is the one that has SciPy.
inline std::vector<double> from_scipy(const std::string& script, const std::vector<double>& input = {}) {
  std::string pattern = (std::filesystem::temp_directory_path() / "firstedge-scipy-XXXXXX").string();
  if (mkdtemp(pattern.data()) == nullptr) throw std::runtime_error("no temporary folder for SciPy");
  const std::filesystem::path folder = pattern;
  {
    std::ofstream numbers(folder / "input.txt");
    numbers.precision(std::numeric_limits<double>::max_digits10);
    for (const double value : input) numbers << value << '\n';
    std::ofstream program(folder / "program.py");
    program << "import numpy as np\nfrom scipy import signal\n"
            << "x = np.array([float(line) for line in open('" << (folder / "input.txt").string() << "')])\n"
            << "def show(values):\n    for value in np.ravel(values): print(repr(float(value)))\n"
            << script;
  }
  const std::string command = "/usr/bin/python3 '" + (folder / "program.py").string() + "'";
  std::string text;
  FILE* pipe = popen(command.c_str(), "r");
  if (pipe == nullptr) throw std::runtime_error("cannot start /usr/bin/python3");
  std::array<char, 4096> buffer{};
  for (std::size_t got = 0; (got = fread(buffer.data(), 1, buffer.size(), pipe)) > 0;)
    text.append(buffer.data(), got);
  const int status = pclose(pipe);
  std::filesystem::remove_all(folder);
  if (status != 0) throw std::runtime_error("SciPy failed; it is in Debian's python3-scipy");
  std::vector<double> numbers;
  std::istringstream lines(text);
  for (std::string line; std::getline(lines, line);) numbers.push_back(std::strtod(line.c_str(), nullptr));
  return numbers;
}

}  // namespace firstedge::test
