// What firstedge-stamp does once its options are known.
#pragma once

#include "firstedge/batch/run.hpp"

#include "common/app.hpp"

#include <filesystem>
#include <functional>
#include <string>
#include <vector>

namespace firstedge {

struct StampJob {
  std::vector<std::filesystem::path> files;
  std::filesystem::path setup, table = "stamps.h5", templates, keep_templates;
  std::string part;  ///< "k/K", or nothing
  bool merge = false;
  RunOptions run;
  ResultOutputs outputs;
};

/// The app: parses the options and hands them to `call`, which returns the exit code and may throw Error.
int run_stamp_app(int argc, char** argv,
                  const std::function<int(StampJob& job, int argc, char** argv)>& call);

/// Stamps or merges. Returns the exit code; throws Error for bad input.
int do_job(StampJob& job, int argc, char** argv);

/// Setup, templates and provenance of a job that stamps, with its part and its options complete; the inputs'
/// digests are begun. The command
/// in the provenance says what the table depends on, and leaves out how it came to be: threads, parts,
/// outputs.
struct StampInputs {
  Setup setup;
  Provenance provenance;
};
StampInputs inputs_of(StampJob& job, int argc, char** argv);

/// Writes what the job wants to have of the finished run, and returns the exit code.
int put_out(const StampJob& job, const RunSummary& summary, const Provenance& provenance);

}  // namespace firstedge
