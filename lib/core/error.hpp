// The one exception of the library: bad input, told in one sentence that names the place and the remedy.
#pragma once

#include <stdexcept>
#include <string>

namespace firstedge {

/// Input that cannot be used. what() is one sentence: "<place>: <problem>; <remedy>".
///
/// Thrown for files, setups and options that are wrong. A pulse that cannot be timed is a Flag on its Stamp,
/// never an Error; a mistake of the programmer is an assert. Apps print what() on standard error and exit
/// with code 2. Text from a file is made printable (control characters become '?') and cut to 200 characters
/// a part.
class Error : public std::runtime_error {
 public:
  /// place: file and position ("run.csv, line 12"); problem: what was found; remedy: what would be right.
  Error(const std::string& place, const std::string& problem, const std::string& remedy);

  const std::string& place() const { return place_; }
  const std::string& problem() const { return problem_; }
  const std::string& remedy() const { return remedy_; }

 private:
  std::string place_, problem_, remedy_;
};

/// text with control characters replaced by '?' and no longer than limit bytes (an ellipsis marks a cut).
std::string printable(const std::string& text, std::size_t limit = 200);

}  // namespace firstedge
