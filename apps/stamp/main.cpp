// firstedge-stamp: recorded traces in, a table of arrival times out.
#include "stamp/job.hpp"
#include "stamp/launch.hpp"

int main(int argc, char** argv) {
  if (firstedge::launched_as_one_of_many()) return firstedge::become_rank(argv);
  return firstedge::run_stamp_app(argc, argv, firstedge::do_job);
}
