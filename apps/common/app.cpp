#include "common/app.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/core/units.hpp"
#include "firstedge/io/input_digests.hpp"
#include "firstedge/report/report.hpp"

#include <chrono>
#include <cmath>
#include <cstdio>
#include <exception>
#include <memory>

#include <fmt/format.h>
#include <unistd.h>
#ifdef __GLIBC__
#include <malloc.h>
#endif

namespace firstedge {
namespace {

constexpr int exit_bad_input = 2;
constexpr int exit_our_fault = 1;

std::int64_t now_ns() {
  return std::chrono::steady_clock::now().time_since_epoch().count();
}

std::string quoted(const std::string& word) {
  const bool plain = !word.empty() && word.find_first_not_of(
                                          "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"
                                          "0123456789-_./=,:+@%") == std::string::npos;
  if (plain) return word;
  std::string inside;
  for (const char c : word) inside += c == '\'' ? std::string("'\\''") : std::string(1, c);
  return fmt::format("'{}'", inside);
}

// Memory of one block of records serves the next: returned to the system, it would have to be cleared and
// mapped anew, some 130,000 pages a million traces.
void keep_freed_memory() {
#ifdef __GLIBC__
  mallopt(M_MMAP_THRESHOLD, 64 << 20);
  mallopt(M_TRIM_THRESHOLD, 512 << 20);
#endif
}

// The help of CLI11, but for lists that are empty by default: those show no default.
class HelpFormatter : public CLI::Formatter {
 public:
  std::string make_option_opts(const CLI::Option* option) const override {
    std::string text = CLI::Formatter::make_option_opts(option);
    const std::string empty_list = "=[]";
    const std::size_t at = text.find(empty_list);
    return at == std::string::npos ? text : text.erase(at, empty_list.size());
  }
};

}  // namespace

void give_manners(CLI::App& app, const std::string& verb) {
  app.name("firstedge-" + verb);
  app.set_version_flag("--version", fmt::format("firstedge-{} {}", verb, FIRSTEDGE_VERSION));
  auto formatter = std::make_shared<HelpFormatter>();
  formatter->column_width(34);
  app.formatter(formatter);
  app.option_defaults()->always_capture_default();
}

int run_app(CLI::App& app, int argc, char** argv, const std::function<int()>& job) {
  keep_freed_memory();
  try {
    app.parse(argc, argv);
    return job();
  } catch (const CLI::Success& request) {  // --help and --version
    return app.exit(request);
  } catch (const CLI::ParseError& mistake) {
    fmt::print(stderr, "{}: {}; --help lists the options\n", app.get_name(), printable(mistake.what(), 400));
    return exit_bad_input;
  } catch (const Error& error) {
    fmt::print(stderr, "{}: {}\n", app.get_name(), error.what());
    return exit_bad_input;
  } catch (const std::exception& fault) {
    fmt::print(stderr, "{}: fault in the program: {}\n", app.get_name(), fault.what());
    return exit_our_fault;
  }
}

void add_result_options(CLI::App& app, ResultOutputs& outputs) {
  app.add_option("--page", outputs.page, "Write a page for people: one HTML file that opens offline");
  app.add_option("--json", outputs.json, "Write the result for programs: JSON, SI units");
  app.add_flag("--quiet", outputs.quiet, "Print no table");
}

void put_out(const Result& result, const ResultOutputs& outputs) {
  if (!outputs.json.empty()) write_whole(outputs.json, to_json(result));
  if (!outputs.page.empty()) write_whole(outputs.page, to_page(result));
  if (!outputs.quiet) fmt::print("{}", to_text(result));
}

std::string command_of(const std::string& program, const std::vector<std::string>& words) {
  std::string command = program;
  for (const std::string& word : words) command += " " + quoted(word);
  return command;
}

Provenance provenance_of(int argc, char** argv, const std::vector<std::filesystem::path>& inputs,
                         const std::string& setup_text) {
  Provenance made = provenance_without_inputs(argc, argv, setup_text);
  made.inputs = input_digests(inputs);
  return made;
}

Provenance provenance_without_inputs(int argc, char** argv, const std::string& setup_text) {
  Provenance made;
  made.program = app_name(argv);
  made.version = FIRSTEDGE_VERSION;
  made.command = command_of(made.program, {argv + 1, argv + argc});
  made.setup = setup_text;
  return made;
}

std::string app_name(char** argv) {
  return std::filesystem::path(argv[0]).filename().string();
}

int tell_problems(const std::string& app, const ReadingAccount& account) {
  return tell_left_out(app, "records", account.records_good, account.records_bad, account.problems);
}

int tell_left_out(const std::string& app, const std::string& what, std::uint64_t good, std::uint64_t bad,
                  const std::vector<Error>& problems) {
  if (problems.empty()) return 0;
  for (const Error& problem : problems) fmt::print(stderr, "{}: {}\n", app, problem.what());
  fmt::print(stderr, "{}: {} {} were good and are in the output, {} were left out\n", app, good, what, bad);
  return exit_bad_input;
}

double quantity_named(const std::string& option, const std::string& text, std::string_view unit) {
  const std::optional<double> value = parse_quantity(text, unit);
  if (!value || !std::isfinite(*value))
    throw Error(option, fmt::format("'{}' is not a quantity in {}", text, unit),
                fmt::format("write it like \"1 {}\"", unit));
  return *value;
}

ProgressLine::ProgressLine(std::string what)
    : what_(std::move(what)), started_ns_(now_ns()), terminal_(isatty(STDERR_FILENO) == 1) {}

ProgressLine::~ProgressLine() {
  if (terminal_ && shown_ns_ != 0) fmt::print(stderr, "\r\033[K");
}

void ProgressLine::show(std::uint64_t done, std::optional<double> share) {
  constexpr std::int64_t between_ns = 100'000'000;
  const std::int64_t now = now_ns();
  if (!terminal_ || now - shown_ns_ < between_ns) return;
  shown_ns_ = now;
  const double elapsed_s = static_cast<double>(now - started_ns_) * 1e-9;
  const double rate = static_cast<double>(done) / elapsed_s;
  fmt::print(stderr, "\r\033[K{}: {} records, {:.3g} records/s", what_, done, rate);
  if (share && *share > 0)
    fmt::print(stderr, ", {:.0f} % done, {:.0f} s left", 100 * *share, elapsed_s * (1 - *share) / *share);
  std::fflush(stderr);
}

}  // namespace firstedge
