#include "stamp/job.hpp"

#include "firstedge/batch/merged_parts.hpp"
#include "firstedge/batch/prepared_run.hpp"
#include "firstedge/core/digest.hpp"
#include "firstedge/core/error.hpp"
#include "firstedge/core/threads.hpp"
#include "firstedge/io/template_file.hpp"

#include <charconv>

#include <fmt/format.h>

namespace firstedge {
namespace {

void add_options(CLI::App& app, StampJob& job) {
  app.add_option("files", job.files, "Files or folders of one run, in order")->required();
  app.add_option("--setup", job.setup,
                 "The Setup (JSON): channels, conditioning, methods; without it, defaults");
  app.add_option("-o,--output", job.table, "Stamp table to write: .h5 or .csv");
  app.add_option("--templates", job.templates, "Pulse templates to use in place of learning them");
  app.add_option("--keep-templates", job.keep_templates, "Write the templates in use to this file");
  app.add_option("--threads", job.run.threads, "Threads; 0 takes all processors")->check(CLI::Range(0, 1024));
  app.add_option("--block", job.run.records_in_block, "Records in work at a time: memory grows with it")
      ->check(CLI::Range(1, 1'000'000));
  CLI::Option* part =
      app.add_option("--part", job.part, "Stamp this part of the records alone: k/K, k from 1 to K");
  app.add_flag("--merge", job.merge, "The files are the tables of all parts of a run: put them together")
      ->excludes(part);
  add_result_options(app, job.outputs);
}

RecordPart part_named(const std::string& text) {
  RecordPart part;
  const char* const end = text.data() + text.size();
  const auto number = std::from_chars(text.data(), end, part.number);
  const bool has_slash = number.ec == std::errc() && number.ptr != end && *number.ptr == '/';
  const auto of = std::from_chars(has_slash ? number.ptr + 1 : end, end, part.of);
  if (!has_slash || of.ec != std::errc() || of.ptr != end)
    throw Error("--part " + text, "is not of the form k/K", "the third of eight parts is 3/8");
  return part;
}

std::string stamping_command(const StampJob& job, const std::string& program) {
  std::vector<std::string> words;
  for (const auto& file : job.files) words.push_back(file.string());
  if (!job.setup.empty()) words.insert(words.end(), {"--setup", job.setup.string()});
  if (!job.templates.empty()) words.insert(words.end(), {"--templates", job.templates.string()});
  return command_of(program, words);
}

int merge(const StampJob& job, int argc, char** argv) {
  const MergedTable merged = merge_stamp_tables(job.files, job.table);
  Result result = merging_result(merged, job.table);
  result.provenance = provenance_of(argc, argv, job.files, merged.head.provenance.setup);
  put_out(result, job.outputs);
  return 0;
}

int stamp(StampJob& job, int argc, char** argv) {
  const ThreadLimit limit(job.run.threads);
  const StampInputs inputs = inputs_of(job, argc, argv);
  RunSummary summary;
  {
    ProgressLine progress("stamping");
    job.run.progress = [&](std::uint64_t records, auto share) { progress.show(records, share); };
    summary = stamp_run(job.files, inputs.setup, job.table, inputs.provenance, job.run);
  }
  return put_out(job, summary, with_digests(inputs.provenance, job.run));
}

}  // namespace

int run_stamp_app(int argc, char** argv,
                  const std::function<int(StampJob& job, int argc, char** argv)>& call) {
  StampJob job;
  CLI::App app(
      "Turns recorded traces into arrival times with standard uncertainties, one row a pulse and method.\n"
      "A run that was stopped goes on where it was when the same command is given again.");
  give_manners(app, "stamp");
  app.footer("Example:\n  firstedge-stamp run.h5 --setup bench.json -o stamps.h5 --page stamps.html");
  add_options(app, job);
  return run_app(app, argc, argv, [&] { return call(job, argc, argv); });
}

int do_job(StampJob& job, int argc, char** argv) {
  return job.merge ? merge(job, argc, argv) : stamp(job, argc, argv);
}

StampInputs inputs_of(StampJob& job, int argc, char** argv) {
  StampInputs inputs{.setup = job.setup.empty() ? default_setup() : read_setup(job.setup)};
  if (!job.part.empty()) job.run.part = part_named(job.part);
  inputs.provenance = provenance_without_inputs(argc, argv, inputs.setup.text);
  job.run.digests = std::make_shared<InputDigests>(job.files);
  inputs.provenance.inputs = job.run.digests->names();
  inputs.provenance.command = stamping_command(job, inputs.provenance.program);
  if (!job.templates.empty()) {
    job.run.templates = read_templates(job.templates);
    inputs.provenance.options["templates_sha256"] = sha256_of_file(job.templates);
  }
  job.run.journal = true;
  job.run.tell = [name = app_name(argv)](const std::string& sentence) {
    fmt::print(stderr, "{}: {}\n", name, sentence);
  };
  return inputs;
}

int put_out(const StampJob& job, const RunSummary& summary, const Provenance& provenance) {
  if (!job.keep_templates.empty()) {
    std::vector<PulseTemplate> templates;
    for (const LearntChannel& channel : summary.channels) {
      if (channel.pulse_template) templates.push_back(*channel.pulse_template);
    }
    write_templates(job.keep_templates, templates);
  }
  put_out(summary_of(summary, provenance), job.outputs);
  return tell_problems(provenance.program, summary.account);
}

}  // namespace firstedge
