#include "stamp/launch.hpp"

#include <cstdlib>
#include <filesystem>

#include <fmt/format.h>
#include <unistd.h>

namespace firstedge {

bool launched_as_one_of_many() {
  const auto is_many = [](const char* name) {
    const char* const size = std::getenv(name);
    return size != nullptr && std::atoi(size) > 1;
  };
  // Open MPI's mpirun, and launchers that speak PMI, tell each process how many there are. PMIx tells a
  // process its rank; Slurm, which uses it, how many its step has.
  if (is_many("OMPI_COMM_WORLD_SIZE") || is_many("PMI_SIZE")) return true;
  return std::getenv("PMIX_RANK") != nullptr && is_many("SLURM_STEP_NUM_TASKS");
}

int become_rank(char** argv) {
  constexpr int exit_bad_input = 2;
  std::error_code ignored;
  const auto program =
      std::filesystem::read_symlink("/proc/self/exe", ignored).replace_filename("firstedge-stamp-ranks");
  execv(program.c_str(), argv);
  fmt::print(
      stderr,
      "firstedge-stamp: {} is missing; build with MPI (libopenmpi-dev), or share the run out with --part\n",
      program.string());
  return exit_bad_input;
}

}  // namespace firstedge
