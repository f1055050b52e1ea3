// What every app does the same way: options, exit codes, the log, the progress bar.
#pragma once

#include "firstedge/core/result.hpp"
#include "firstedge/io/record_reader.hpp"

#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <CLI/CLI.hpp>

namespace firstedge {

/// Runs an app: parses, calls `job`, turns Error into one sentence on standard error.
/// Exit codes: 0 all good; 2 bad input or options (also when part of it was good and has been kept); 1 a
/// fault of ours.
int run_app(CLI::App& app, int argc, char** argv, const std::function<int()>& job);

/// A CLI app with the manners of all of ours: --help, --version, and the name firstedge-<verb>.
void give_manners(CLI::App& app, const std::string& verb);

/// Where a result goes: the options --page, --json, and the text on standard output.
struct ResultOutputs {
  std::filesystem::path page, json;
  bool quiet = false;
};
void add_result_options(CLI::App& app, ResultOutputs& outputs);
void put_out(const Result& result, const ResultOutputs& outputs);

/// A command as a shell takes it: the program, then words, quoted where needed.
std::string command_of(const std::string& program, const std::vector<std::string>& words);

/// The provenance of this call: program, version, the command line as typed, digests of the inputs.
Provenance provenance_of(int argc, char** argv, const std::vector<std::filesystem::path>& inputs,
                         const std::string& setup_text);

/// The same without the inputs.
Provenance provenance_without_inputs(int argc, char** argv, const std::string& setup_text);

/// The name that this program was called by, without its folder.
std::string app_name(char** argv);

/// Prints what was wrong with the files that were read, one sentence a line. Returns the exit code: 0, or 2
/// when damage was found (what was good has been kept).
int tell_problems(const std::string& app, const ReadingAccount& account);

/// The same for readers of other things than records ("lines").
int tell_left_out(const std::string& app, const std::string& what, std::uint64_t good, std::uint64_t bad,
                  const std::vector<Error>& problems);

/// The value in SI units of an option that is written as people do ("100 ns"); throws Error naming the option
/// for what is no finite quantity with this unit.
double quantity_named(const std::string& option, const std::string& text, std::string_view unit);

/// A progress line on standard error: share done, rate, time left. Silent unless standard error is a
/// terminal.
class ProgressLine {
 public:
  explicit ProgressLine(std::string what);
  ~ProgressLine();
  ProgressLine(const ProgressLine&) = delete;
  ProgressLine& operator=(const ProgressLine&) = delete;
  /// share: of all that is to be done, 0 to 1, if it is known.
  void show(std::uint64_t done, std::optional<double> share);

 private:
  std::string what_;
  std::int64_t started_ns_ = 0, shown_ns_ = 0;
  bool terminal_ = false;
};

}  // namespace firstedge
