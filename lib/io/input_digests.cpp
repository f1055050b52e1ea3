#include "firstedge/io/input_digests.hpp"

#include "firstedge/core/digest.hpp"
#include "firstedge/core/threads.hpp"
#include "firstedge/io/byte_source.hpp"
#include "firstedge/io/file_pattern.hpp"

#include <atomic>
#include <functional>
#include <span>

#include <fmt/format.h>
#include <sys/stat.h>
#include <tbb/parallel_for.h>
#include <tbb/task_group.h>

namespace firstedge {
namespace {

constexpr std::size_t digest_digits = 64;

std::vector<Provenance::Input> names_of(const std::vector<std::filesystem::path>& files) {
  return made_by_all_threads(files.size(), [&](std::size_t i) {
    return Provenance::Input{files[i].filename().string(), readable_size(files[i]),
                             std::string(digest_digits, '0')};
  });
}

std::string state_of(const std::vector<std::filesystem::path>& files) {
  const std::vector<std::string> of_files = made_by_all_threads(files.size(), [&](std::size_t i) {
    struct stat status {};
    if (::stat(files[i].c_str(), &status) != 0) status = {};  // gone: a state of its own
    return fmt::format("{} {} {}.{:09} {}.{:09}\n", files[i].filename().string(), status.st_size,
                       status.st_mtim.tv_sec, status.st_mtim.tv_nsec, status.st_ctim.tv_sec,
                       status.st_ctim.tv_nsec);
  });
  std::string states;
  for (const std::string& one : of_files) states += one;
  return sha256(std::as_bytes(std::span(states)));
}

void add_digests(std::vector<Provenance::Input>& inputs, const std::vector<std::filesystem::path>& files,
                 const std::function<bool()>& goes_on) {
  tbb::parallel_for(std::size_t{0}, files.size(), [&](std::size_t i) {
    if (!goes_on || goes_on()) inputs[i].sha256 = sha256_of_file(files[i], goes_on);
  });
}

}  // namespace

std::vector<Provenance::Input> input_digests(const std::vector<std::filesystem::path>& files) {
  const std::vector<std::filesystem::path> expanded = expand_folders(files);
  std::vector<Provenance::Input> inputs = names_of(expanded);
  add_digests(inputs, expanded, {});
  return inputs;
}

struct InputDigests::Work {
  explicit Work(std::vector<std::filesystem::path> of_files)
      : files(std::move(of_files)), names(names_of(files)), state(state_of(files)), inputs(names) {}

  std::vector<std::filesystem::path> files;
  std::vector<Provenance::Input> names;
  std::string state;
  std::vector<Provenance::Input> inputs;  // of the thread that digests, until known
  std::atomic<bool> given_up = false, known = false;
  tbb::task_group group;
};

InputDigests::InputDigests(const std::vector<std::filesystem::path>& files)
    : work_(std::make_unique<Work>(expand_folders(files))) {
  work_->group.run([work = work_.get()] {
    add_digests(work->inputs, work->files, [work] { return !work->given_up; });
    work->known = true;
  });
}

InputDigests::~InputDigests() {
  work_->given_up = true;
  try {
    work_->group.wait();
  } catch (const std::exception&) {  // nobody asks for them any more
  }
}

const std::vector<Provenance::Input>& InputDigests::names() const {
  return work_->names;
}

const std::string& InputDigests::state() const {
  return work_->state;
}

bool InputDigests::are_unchanged() const {
  return state_of(work_->files) == work_->state;
}

bool InputDigests::are_known() const {
  return work_->known;
}

const std::vector<Provenance::Input>& InputDigests::wait() {
  work_->group.wait();
  return work_->inputs;
}

}  // namespace firstedge
